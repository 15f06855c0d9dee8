/** @param seconds where there are none, it does not wait for its turn either */
export const pause = (seconds: number): Promise<void> =>
  seconds > 0 ? new Promise((resolve) => setTimeout(resolve, seconds * 1000)) : Promise.resolve();
