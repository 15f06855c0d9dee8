// How long the library's memory lasts. Bodies report a change late; and in plain PTP, under 0x0A and under
// 0x11 the library answers from memory for up to two full seconds of the clock. After the first look a short
// wait is worth a try; after that, nothing new comes before those seconds are over.

/** From the first look to the second. */
export const FIRST_LOOK_AGAIN_MS = 250;
const MEMORY_MS = 2000;
/** How far into a second of the clock the library may be before it sees it. */
const CLOCK_MARGIN_MS = 30;

/**
 * @param lookedAt when the library may have looked last, by Date.now()
 * @returns from when on it asks the body again
 */
export const forgetsAt = (lookedAt: number): number =>
  Math.ceil((lookedAt + 1) / 1000) * 1000 + MEMORY_MS - 1000 + CLOCK_MARGIN_MS;
