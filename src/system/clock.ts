// The computer's clocks, as a schedule needs them.
import os from 'node:os';

export interface Clock {
  /** Milliseconds from some fixed moment on; nobody can set it, and it goes on while the computer sleeps. */
  monotonic(): number;
  /** Milliseconds since 1970, as the computer's clock has it at the moment: it can be set, forwards and backwards. */
  wall(): number;
}

/** The sources of the clock, in milliseconds; tests provide their own. */
export interface Sources {
  /** Steady, but may stand still while the computer sleeps (CLOCK_MONOTONIC on Linux). */
  steady(): number;
  /** Since the computer was started, sleep included; coarse: to the second on some systems. */
  uptime(): number;
  wall(): number;
}

const SYSTEM: Sources = {
  steady: () => performance.now(),
  uptime: () => os.uptime() * 1000,
  wall: () => Date.now(),
};

/** Two readings of an uptime in whole seconds can be wrong by one second each way. */
const SLEPT_AT_LEAST_MS = 2000;

/**
 * A clock that counts the time which the computer slept: as much as its uptime has gone on farther than its steady clock since
 * the last reading. Sleep of less than two seconds is not seen.
 */
export function systemClock(sources: Sources = SYSTEM): Clock {
  let steady = sources.steady();
  let uptime = readUptime(sources);
  let slept = 0;
  return {
    monotonic: () => {
      const now = { steady: sources.steady(), uptime: readUptime(sources) };
      if (now.uptime !== undefined && uptime !== undefined) {
        const gap = now.uptime - uptime - (now.steady - steady);
        if (gap > SLEPT_AT_LEAST_MS) slept += gap;
      }
      ({ steady, uptime } = now);
      return steady + slept;
    },
    wall: () => sources.wall(),
  };
}

/** Some systems do not tell. */
function readUptime({ uptime }: Sources): number | undefined {
  try {
    return uptime();
  } catch {
    return undefined;
  }
}
