// Output of the camera process and of the native code in it, line by line, with its level in a log.
import { createInterface } from 'node:readline';
import type { Readable } from 'node:stream';

export type PrintedLevel = 'debug' | 'warn';

/**
 * Lines of standard error that say nothing new:
 * - `### ...`: the binding's way of passing on the library's status and error texts (src/gphoto.cc of gphoto2 0.3.2). An
 *   error comes back as a result code besides, and is told in words of ours.
 * - `(node:PID) ...` and `(Use `node ...`: warnings of Node about itself.
 */
const CHATTER = [/^### /, /^\(node:\d+\) /, /^\(Use `node /];

export function levelOf(stream: 'stdout' | 'stderr', line: string): PrintedLevel {
  // On standard output there are the binding's return values only, which come back as errors too.
  if (stream === 'stdout' || line.trim() === '') return 'debug';
  return CHATTER.some((known) => known.test(line)) ? 'debug' : 'warn';
}

/** Gives each line on. A stream that breaks ends with its process, which is noticed elsewhere. */
export function eachLine(stream: Readable, take: (line: string) => void): void {
  createInterface({ input: stream, crlfDelay: Number.POSITIVE_INFINITY })
    .on('line', take)
    .on('error', () => undefined);
}
