// Lengths of time that a person would choose.

const MINUTE = 60;
const HOUR = 3600;
const UP_TO_AN_HOUR = [
  ...[5, 10, 15, 20, 30, 45],
  ...[1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 45, 50, 60].map(
    (minutes) => minutes * MINUTE,
  ),
];

/**
 * @returns the shortest handy length, in seconds, that is not shorter than the given one; above an hour, in
 *   quarters of an hour
 */
export function handySeconds(seconds: number): number {
  return UP_TO_AN_HOUR.find((handy) => handy >= seconds) ?? Math.ceil(seconds / (HOUR / 4)) * (HOUR / 4);
}
