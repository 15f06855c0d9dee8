// The record of a set (`set.json`), which lies beside the frames. Pure: it only puts together what is known.
import type { LightView } from '../../../shared/light.js';
import { SET_RECORD_VERSION, type SetRecord } from '../../../shared/set-record.js';
import { toEv } from '../../exposure/index.js';
import { toWirePlan } from '../../plan/index.js';
import type { InHand } from '../in-hand.js';

/** The parts of the record that are known only at the end of a set. */
export interface Ended {
  readonly complete: boolean;
  /** How it ended, in one sentence. */
  readonly sentence: string;
  readonly putBack: readonly string[];
  readonly ratios: SetRecord['ratios'];
  readonly baseShifts: SetRecord['baseShifts'];
  readonly endedAt: Date;
}

export function recordOf(hand: InHand, ended: Ended): SetRecord {
  const { plan, body, book, labels, common } = hand;
  const light = hand.light?.view ?? null;
  const { id, ordinal, name, viewpoint, note } = labels.inFolder;
  return {
    version: SET_RECORD_VERSION,
    ...{ id, run: hand.run, setNumber: ordinal, complete: ended.complete, sentence: ended.sentence },
    ...{ name, viewpoint, note, practice: body.identity.link === 'practice' },
    startedAt: hand.startedAt.toISOString(),
    endedAt: ended.endedAt.toISOString(),
    body: body.identity,
    base: { ...hand.base(), exposureTime: hand.baseSeconds() },
    mode: plan.mode,
    step: toEv(plan.step),
    ...(plan.readings === undefined ? {} : { readings: plan.readings }),
    passes: toWirePlan(plan).passes,
    frames: hand.frames.map(({ view, checksum, times, shutter }) => ({
      ...{ ...view, ...checksum, ...times },
      nominalSeconds: shutter.nominalSeconds,
    })),
    ratios: ended.ratios,
    ...(light === null ? {} : { light: lightInRecord(light) }),
    setAside: [...book.asides],
    strays: [...book.strays],
    notes: [...book.notes],
    clockDifference: common.clockDifference,
    baseShifts: ended.baseShifts ?? [],
    putBack: [...ended.putBack],
    notPutBack: [...body.debts].map(([setting, { found }]) => ({ name: setting, found })),
  };
}

/** How often the map was drawn matters only to the panel, so it is left out of the record. */
export const lightInRecord = ({ map: _, ...light }: LightView): NonNullable<SetRecord['light']> => light;
