// The sets that a run on a schedule has made already, read from the journal for whoever resumes the run.
import { LINE_SETS } from '../../shared/fold.js';
import type { Schedule } from '../../shared/schedule.js';
import type { LineSet } from '../../shared/state.js';
import type { Body } from '../camera/index.js';
import { isoSettings, labelledShutters, minusSixths, NO_EV, type Sixths, toEv } from '../exposure/index.js';
import type { JournalReader } from '../journal/index.js';

/**
 * @returns the last of them, in the order in which they were made
 * @throws EvenrungError storing-failed
 */
export function lineSoFar(
  journal: JournalReader,
  run: string,
  { start, everySeconds }: Schedule,
  { limits, isoLabels }: Pick<Body, 'limits' | 'isoLabels'>,
): LineSet[] {
  const line: LineSet[] = [];
  const isos = isoSettings(isoLabels);
  let before: Sixths | null = null;
  for (const { id: set } of [...journal.sets({ run, limit: LINE_SETS })].reverse()) {
    const stored = journal.set(set);
    if (stored === null) continue;
    const { base, ordinal, startedAt, endedAt, state, verified, frames, sentence } = stored;
    const tv = labelledShutters(limits).find(({ label }) => label === base.shutter)?.tv ?? NO_EV;
    const sv = isos.find(({ iso }) => String(iso) === base.iso)?.sv ?? NO_EV;
    const lets = minusSixths(sv, tv);
    const shift = before === null ? 0 : toEv(minusSixths(lets, before));
    before = lets;
    const slot = Math.floor((Date.parse(startedAt) - Date.parse(start)) / (everySeconds * 1000));
    line.push({
      ...{ set, ordinal, startedAt, endedAt, state, verified, sentence, shift },
      ...{ slot: Math.max(0, slot), frames: frames.length, shutter: base.shutter, iso: base.iso },
    });
  }
  return line;
}
