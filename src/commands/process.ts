// What commands have in common as processes: exit codes, stop signals, and how an error is reported.
import { CommanderError } from 'commander';
import { z } from 'zod';
import { ERRORS, type ErrorCode } from '../../shared/error-codes.js';
import { asEvenrungError, EvenrungError } from '../../shared/errors.js';
import { pageWords } from '../../shared/pages.js';
import { listed, shortened } from '../../shared/plain-words.js';
import { suggestionSchema } from '../../shared/plan.js';
import { optionOf } from './options/option-names.js';

/** Exit code of a command that the user stopped. */
export const STOPPED = 130;

export const STOPPING =
  'Stopping: the current exposure is finished (a long bulb exposure is cut short), then the settings are put back.';

/** Of a run that was in trouble, and is over it. */
export const ANSWERS_AGAIN = 'The camera answers again.';

/** Of a run that somebody pauses, and resumes. */
export const HELD = 'Paused: nothing is fired until you resume.';
export const GOES_ON = 'Resumed.';

export const exitCodeOf = (error: EvenrungError): number => ERRORS[error.code].exit;

/** Calls back at the first SIGINT or SIGTERM; more of them change nothing, so that settings can be put back in peace. */
export function onStopSignal(stop: () => void): () => void {
  let told = false;
  const listener = () => {
    if (!told) stop();
    told = true;
  };
  process.on('SIGINT', listener);
  process.on('SIGTERM', listener);
  // The window was closed, or the connection dropped.
  process.on('SIGHUP', listener);
  return () => {
    process.off('SIGINT', listener);
    process.off('SIGTERM', listener);
    process.off('SIGHUP', listener);
  };
}

/** The reader of our output may be gone; that is no reason to leave a camera with settings half changed. */
export function outliveReaders(): void {
  for (const stream of [process.stdout, process.stderr]) stream.on('error', () => undefined);
}

/** @returns the line below an error's sentence: which page and section of the notes say more */
export const moreAbout = (code: ErrorCode): string => `  more: ${pageWords(code)}`;

/**
 * Tells an error: one sentence on standard error, below it what would help and where to read more, and with `--json` an object
 * on standard output.
 * @returns exit code
 */
export function tellError(cause: unknown, json: boolean, help: string): number {
  if (cause instanceof CommanderError && cause.exitCode === 0) return 0;
  // Nothing was asked for: commander has the help ready, and here it is shown.
  if (cause instanceof CommanderError && cause.code === 'commander.help') {
    process.stderr.write(help);
    return 2;
  }
  const error =
    cause instanceof CommanderError
      ? new EvenrungError('malformed-request', sentenceOf(cause))
      : asEvenrungError(cause);
  const message = error.messageWith(optionOf);
  process.stderr.write(`${message}\n${suggestionsOf(error)}${moreAbout(error.code)}\n`);
  if (json) process.stdout.write(`${JSON.stringify({ error: { ...error.toWire().error, message } })}\n`);
  return exitCodeOf(error);
}

/** As commander says it of an option, and of an argument without a name before it. */
const REFUSED_OPTION = /^error: option '(?:-\w, )?(--[\w-]+)[^']*' argument '(.*)' is invalid\. (.*)$/s;
const REFUSED_ARGUMENT = /^error: command-argument value '(.*)' is invalid for argument '(.*)'\. (.*)$/s;
const CHOICES = /^Allowed choices are (.*)\.$/;

/** @returns the mistake on the command line, in one plain sentence */
export function sentenceOf({ message }: CommanderError): string {
  const [, option, given, why] = REFUSED_OPTION.exec(message) ?? [];
  if (option !== undefined) return refusedInWords(option, given, why);
  const [, value, argument, reason] = REFUSED_ARGUMENT.exec(message) ?? [];
  if (argument !== undefined) return refusedInWords(`The ${argument}`, value, reason);
  const [first = '', ...more] = message
    .replace(/^error: /, '')
    .replace(/'([^']{41,})'/gs, (_, long: string) => `'${shortened(long)}'`)
    .split('\n');
  const sentence = `${first.charAt(0).toUpperCase()}${first.slice(1).replace(/\.$/, '')}.`;
  return [sentence, ...more].join(' ').trim();
}

function refusedInWords(what: string, given = '', why = ''): string {
  const [, choices] = CHOICES.exec(why) ?? [];
  const reason = choices === undefined ? why : `give ${listed(choices.split(', '))}.`;
  return `${what} cannot be '${shortened(given)}': ${reason}`;
}

/** @returns a line for each change that would help; nothing if there is none */
function suggestionsOf({ details }: EvenrungError): string {
  const suggestions = z.array(suggestionSchema).safeParse(details.suggestions);
  return suggestions.success
    ? suggestions.data.map(({ message }) => `  would do: ${message}\n`).join('')
    : '';
}

const WIDTH = 80;

/** A space at which no line ends. */
export const NO_BREAK = '\u00a0';

/** @returns lines of at most 80 columns, those after the first indented */
export function wrapped(text: string, indent: string): string[] {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(/(?<=[^ ]) +/)) {
    const longer = line === '' ? word : `${line} ${word}`;
    if (longer.length > WIDTH && line !== '') {
      lines.push(line);
      line = `${indent}${word}`;
    } else {
      line = longer;
    }
  }
  return [...lines, line].map((done) => done.replaceAll(NO_BREAK, ' '));
}
