// What `npm run soak -- mutants` changes, and the changes that nobody needs to notice, each with the reason.

export const ENOUGH_PERCENT = 85;

/** Globs: a room that is not there yet, or not any more, changes nothing. */
export const MUTATED: readonly string[] = [
  'src/exposure/**/*.ts',
  'src/frames/judge/agree.ts',
  'src/frames/judge/judge.ts',
  'src/frames/judge/ratios.ts',
  'src/frames/judge/sizes.ts',
  'src/set/assign/from-before.ts',
  'src/set/judge/marks.ts',
  'src/set/assign/assign.ts',
  'src/set/judge/judgements.ts',
];

const ALIKE = 'does the same';
const EXACTLY = 'only where a measured number is exactly the bound, which no number of a camera is';

interface Left {
  readonly file: string;
  /** A part of the line that was changed; of several that fit, the longest counts. */
  readonly line: string;
  /** What stands in its place then; left out, whatever does. */
  readonly put?: string;
  readonly why: string;
}

export const LEFT: readonly Left[] = [
  { file: 'shutter.ts', line: '.exec(text) ?? []', why: `${ALIKE}: what does not match has no parts` },
  { file: 'aperture.ts', line: '.exec(text', why: `${ALIKE}: what does not match has no parts` },
  { file: 'aperture.ts', line: 'digits === undefined', why: `${ALIKE}: neither is above 0` },
  { file: 'shutter.ts', line: 'Number.isFinite', why: `${ALIKE}: what is not there is not above 0` },
  {
    file: 'shutter.ts',
    line: 'top === undefined ||',
    why: `${ALIKE}: a match has both parts, and what has none is no number`,
  },
  { file: 'shutter.ts', line: "tenths || '0'", why: `${ALIKE}: 30. is 30` },
  {
    file: 'shutter.ts',
    line: "bodySetting(tv, ''",
    why: `${ALIKE}: what the wire would say is not used here`,
  },
  { file: 'shutter.ts', line: "sixths(1)), '')", why: `${ALIKE}: what the wire would say is not used here` },
  { file: 'shutter.ts', line: 'seconds < 1 ?', why: `${ALIKE}: 1 s lies on the scales` },
  { file: 'shutter.ts', line: '0.005', why: EXACTLY },
  { file: 'shutter.ts', line: 'FARTHEST_NOMINAL_EV', why: EXACTLY },
  { file: 'shutter.ts', line: 'evBetween(seconds, setting) <', why: EXACTLY },
  {
    file: 'iso.ts',
    line: '.test(bare)) return undefined',
    why: `${ALIKE}: what is no number is not above 0`,
  },
  {
    file: 'judgements.ts',
    line: 'if (partner === undefined) return []',
    why: `${ALIKE}: of what is not expected nothing is missing`,
  },
  { file: 'judgements.ts', line: 'leftOutWords(partner?.kind', why: `${ALIKE}: what is left out is there` },
  { file: 'agree.ts', line: 'takenAt !== null &&', why: `${ALIKE}: what is not there is no moment` },
  { file: 'agree.ts', line: 'SAME_BIAS_EV', put: 'Math.abs(partner - own) < SAME_BIAS_EV', why: EXACTLY },
  { file: 'judge.ts', line: 'ROUNDED_FROM_SECONDS', put: 'asked > ROUNDED_FROM_SECONDS', why: EXACTLY },
  { file: 'judge.ts', line: 'HELD_TOLERANCE_SECONDS', put: 'Math.abs(seconds - asked) <', why: EXACTLY },
  { file: 'judgements.ts', line: 'openEnds = []', why: `${ALIKE}: no end has that name` },
  { file: 'from-before.ts', line: 'const isEarly', why: `${ALIKE}: what is not there counts as 0` },
  { file: 'iso.ts', line: 'Math.abs(ev - toEv(half))', why: EXACTLY },
  { file: 'marks.ts', line: "off > 0 ? 'after'", why: `${ALIKE}: 0 is no odd time` },
  { file: 'marks.ts', line: 'return taken > to', why: `${ALIKE}: what is exactly there lies in between` },
  { file: 'marks.ts', line: 'Math.abs(zone) <=', why: `${ALIKE}: so is the zone chosen; else: ${EXACTLY}` },
  {
    file: 'assign.ts',
    line: "state: 'stored', wasFired: true",
    why: `${ALIKE}: only a second file of the same frame in one release would ask`,
  },
  {
    file: 'judgements.ts',
    line: "rule.when !== 'recorded'",
    why: `${ALIKE}: what only a picture tells is not told yet`,
  },
  {
    file: 'judgements.ts',
    line: 'if (reason !== null) return reason',
    why: `${ALIKE}: there is one such rule`,
  },
  { file: 'assign.ts', line: 'this.due = new Set', why: `${ALIKE}: a turn for nothing is asked for nowhere` },
  {
    file: 'assign.ts',
    line: 'number !== null && this.due.has',
    why: `${ALIKE}: a turn for nothing is never due`,
  },
  { file: 'assign.ts', line: 'const expected = turn', why: `${ALIKE}: a turn for nothing is never due` },
  {
    file: 'assign.ts',
    line: 'owner: null, isOwn: false',
    why: `${ALIKE}: nobody asks a picture from before whether it is late`,
  },
  {
    file: 'assign.ts',
    line: 'owner === null',
    put: 'true',
    why: `${ALIKE}: no two frames of a set record the same`,
  },
  {
    file: 'assign.ts',
    line: 'owner === null',
    put: 'false',
    why: `${ALIKE}: what is no frame is not right, and tells no base`,
  },
  {
    file: 'assign.ts',
    line: 'const is = owner',
    why: `${ALIKE}: of what was found only from-before and untold are read`,
  },
  { file: 'assign.ts', line: "? ''", why: `${ALIKE}: without a lost frame nobody reads why` },
  {
    file: 'assign.ts',
    line: 'this.mismatch(file, lost) ??',
    why: `${ALIKE}: a file that is the lost frame would be its own`,
  },
  { file: 'assign.ts', line: "is: 'its-own'", why: `${ALIKE}: only from-before and doubtful are asked for` },
  {
    file: 'assign.ts',
    line: "asked.mode === 'manual' || recorded",
    why: `${ALIKE}: what records nothing is no frame`,
  },
  { file: 'assign.ts', line: 'if (!verdict.right)', why: `${ALIKE}: it was judged right before` },
  {
    file: 'assign.ts',
    line: 'isFirst || before === null',
    why: `${ALIKE}: after the first there is one before`,
  },
  {
    file: 'assign.ts',
    line: 'isFirst || soFar === null',
    why: `${ALIKE}: after the first there is one before`,
  },
  {
    file: 'assign.ts',
    line: '!this.due.has(frame.number) && owing',
    why: `${ALIKE}: one that is due is its own, and not late`,
  },
  { file: 'judge.ts', line: 'RELATIVE_TOLERANCE;', why: EXACTLY },
  { file: 'judge.ts', line: 'MOVED_EV', why: EXACTLY },
  { file: 'judge.ts', line: 'SAME_BIAS_EV', why: EXACTLY },
  { file: 'judge.ts', line: 'const thirds =', why: `${ALIKE}: no number is near a word` },
  {
    file: 'judge.ts',
    line: 'if (tv === null || reasons',
    why: `${ALIKE}: a missing time is one of the reasons`,
  },
  { file: 'judge.ts', line: 'return baseTv === null ||', why: `${ALIKE}: without a base nothing has moved` },
  {
    file: 'ratios.ts',
    line: 'return error !== null',
    why: `${ALIKE}: what is not there counts as 0; else: ${EXACTLY}`,
  },
  { file: 'ratios.ts', line: 'if (below && above)', why: `${ALIKE}: of errors that are marked neither is 0` },
  { file: 'ratios.ts', line: 'if (!(linear > 0))', why: `${ALIKE}: black weighs nothing anyhow` },
  { file: 'ratios.ts', line: 'linear <= 0.0031308', why: `${ALIKE}: there both parts of the curve meet` },
  { file: 'ratios.ts', line: 'if (sum >= half)', why: EXACTLY },
  { file: 'from-before.ts', line: 'CLOCK_SLACK_MS', why: EXACTLY },
  { file: 'from-before.ts', line: 'LONGEST_WAIT_MS', why: EXACTLY },
];
