// `--at`: the daemon to use, if it is not the one that is found by default. Its former name `--to` still
// works.
import { type Command, Option } from 'commander';
import { EvenrungError } from '../../../shared/errors.js';

export interface AtOptions {
  readonly at?: string;
  /** Its former name. */
  readonly to?: string;
}

/** @param read checks the value; throws InvalidArgumentError */
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
 * @returns undefined if none is given
 * @throws EvenrungError malformed-request if there are two
 */
export function addressIn({ at, to }: AtOptions): string | undefined {
  if (at === undefined || to === undefined) return at ?? to;
  throw new EvenrungError('malformed-request', '--at and --to both give an address: leave one out.');
}
