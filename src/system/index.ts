// What belongs to the computer rather than to photography: whole files, the owner lock, processes beside the
// program, sleep, clocks. Knows no other room.
export { isAlive } from './alive.js';
export { type Clock, systemClock } from './clock.js';
export { freeBytesIn } from './free-bytes.js';
export { Owner, whoOwns } from './owner.js';
export {
  ELSEWHERE,
  isDamage,
  refusedAtOpening,
  refusedWhileReading,
  refusedWhileWorking,
} from './refused.js';
export { ProcessFell, SideProcess, type SideProcessOptions, type SideReply } from './side-process.js';
export { makeReady } from './state-folder.js';
export { stayAwake } from './stay-awake.js';
export { type Content, PARTIAL, putWhole, type Staged, stageWhole, syncFile, syncFolder } from './sync.js';
export { dayInNames, hourAndMinute, timeInNames, wallDay, wallSecond } from './wall-clock.js';
export { inTurn, isMissing, PRIVATE, removeWhole, setAside, writeWhole } from './whole-file.js';
