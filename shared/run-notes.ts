// Notes of a run that are about the time while it lasts: in the record they stay, and whoever looks at the
// finished set need not read them.

/** What a note begins with that the computer may fall asleep. */
export const MAY_FALL_ASLEEP = 'This laptop may fall asleep while shooting';
/** How such a note began in sets of before. */
const FORMERLY = 'This computer may fall asleep during the run';

/** @returns those that count after the run, too */
export const notesAfter = (notes: readonly string[]): string[] =>
  notes.filter((note) => !note.startsWith(MAY_FALL_ASLEEP) && !note.startsWith(FORMERLY));
