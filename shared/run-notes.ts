// Notes that matter only while a run lasts. They stay in the record, but somebody who looks at the finished
// set need not read them.

/** The beginning of the note that the computer may fall asleep. */
export const MAY_FALL_ASLEEP = 'This laptop may fall asleep while shooting';
/** The beginning of such a note in older sets. */
const FORMERLY = 'This computer may fall asleep during the run';

/** @returns those that count after the run, too */
export const notesAfter = (notes: readonly string[]): string[] =>
  notes.filter((note) => !note.startsWith(MAY_FALL_ASLEEP) && !note.startsWith(FORMERLY));
