// The parts that the station is put together from. Code that begins, resumes or ends something is handed only
// the parts that it needs.
import type { BodyInHand, BodyReport } from '../bodies/index.js';
import type { Journal } from '../journal/index.js';
import type { Sleep } from '../series/index.js';
import type { Clock } from '../system/index.js';
import type { Alarm } from './alarm.js';
import type { EventLog } from './event-log.js';
import type { Firing } from './firing.js';
import type { SetFolders } from './folders.js';
import type { Idle } from './idle.js';
import type { LateProofs } from './late-proofs.js';
import type { OneAtATime } from './one-at-a-time.js';
import type { Planner } from './planner.js';
import type { Sounder } from './sounder.js';

export interface Parts {
  readonly one: OneAtATime;
  readonly bodies: BodyInHand;
  readonly report: BodyReport;
  readonly planner: Planner;
  readonly folders: SetFolders;
  readonly firing: Firing;
  readonly sounder: Sounder;
  readonly idle: Idle;
  readonly lateProofs: LateProofs;
  readonly events: EventLog;
  readonly journal: Journal | undefined;
  /** Calls for somebody when a run ends early. */
  readonly alarm: Pick<Alarm, 'raise'> | undefined;
  readonly clock: Clock;
  readonly sleep: Sleep | undefined;
  readonly log: (line: string) => void;
}
