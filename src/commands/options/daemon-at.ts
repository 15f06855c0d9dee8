// `--at`: the daemon that is to do it, where it is another one than is found by itself. It was `--to` once, which goes on working.
import { type Command, Option } from 'commander';
import { EvenrungError } from '../../../shared/errors.js';

export interface AtOptions {
  readonly at?: string;
  /** As it was called formerly. */
  readonly to?: string;
}

/** @param read judges what is given; throws InvalidArgumentError */
export function addAtOption(
  command: Command,
  description: string,
  read: (text: string) => string = (text) => text,
): Command {
  return command
    .addOption(new Option('--at <address>', description).argParser(read))
    .addOption(new Option('--to <address>').argParser(read).hideHelp());
}

/**
 * @returns undefined where none is given
 * @throws EvenrungError malformed-request where there are two
 */
export function addressIn({ at, to }: AtOptions): string | undefined {
  if (at === undefined || to === undefined) return at ?? to;
  throw new EvenrungError('malformed-request', '--at and --to both give an address: leave one out.');
}
