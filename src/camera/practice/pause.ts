/** @param seconds if there are none, the caller does not even give up its turn */
export const pause = (seconds: number): Promise<void> =>
  seconds > 0 ? new Promise((resolve) => setTimeout(resolve, seconds * 1000)) : Promise.resolve();
