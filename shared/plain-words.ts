// Sentences on what is wrong with something that was sent or written. Those of the library that checks it
// never reach a person.
import type { z } from 'zod';

type Issue = z.core.$ZodRawIssue;

const KINDS: Readonly<Record<string, string>> = {
  number: 'it must be a number',
  int: 'it must be a whole number',
  string: 'it must be text',
  boolean: 'it must be true or false',
  array: 'it must be a list',
  object: 'it must be an object',
};

/** @returns words that fit behind the name of a field and a colon */
function plainWords(issue: Issue): string {
  switch (issue.code) {
    case 'invalid_type':
      return issue.input === undefined ? 'it is missing' : (KINDS[issue.expected] ?? 'it is not understood');
    case 'too_big':
      if (issue.origin === 'string') return `it is too long: give at most ${issue.maximum} characters`;
      if (issue.origin === 'array') return `there are too many: give at most ${issue.maximum}`;
      return `give at most ${issue.maximum}`;
    case 'too_small':
      if (issue.origin === 'string') return Number(issue.minimum) > 1 ? 'it is too short' : 'it is empty';
      if (issue.origin === 'array') return `give at least ${issue.minimum}`;
      return issue.inclusive === false ? `give more than ${issue.minimum}` : `give ${issue.minimum} or more`;
    case 'invalid_value':
      return `give ${listed(issue.values.map(String))}`;
    case 'unrecognized_keys':
      return `there is no field '${shortened(issue.keys[0] ?? '')}'`;
    case 'invalid_union':
      return issue.input === undefined ? 'it is missing' : 'it is not understood';
    default:
      return 'it is written in the wrong form';
  }
}

/** For the second argument of safeParse: these words are taken if a schema has none of its own. */
export const IN_PLAIN_WORDS = { error: plainWords } as const;

/** @returns `50 or 60`, `a, b or c` */
export function listed(all: readonly string[]): string {
  const last = all.at(-1) ?? '';
  return all.length < 2 ? last : `${all.slice(0, -1).join(', ')} or ${last}`;
}

const MOST_SHOWN = 40;

/** @returns a text that somebody wrote, short enough and fit to be shown in a sentence */
export function shortened(text: string): string {
  const shown = text.replace(/\p{C}+/gu, ' ');
  return shown.length > MOST_SHOWN ? `${shown.slice(0, MOST_SHOWN)}...` : shown;
}

/**
 * @returns the field that the first issue is about, empty if it is about the whole, and what is wrong with
 *   it
 */
export function firstIssueOf({ issues }: z.ZodError): { readonly field: string; readonly words: string } {
  const [issue] = issues;
  return { field: issue?.path.map(String).join('.') ?? '', words: issue?.message ?? 'it is not understood' };
}
