// What the system's refusal of a file means for a person: one table for all code that stores files. Codes as
// in POSIX errno.h.

const WHY: Readonly<Record<string, string>> = {
  EEXIST: 'part of its path is a file',
  ENOTDIR: 'part of its path is a file',
  EISDIR: 'it is a folder',
  EACCES: 'you have no permission',
  EPERM: 'you have no permission',
  EROFS: 'the disk is read-only',
  ENOSPC: 'the disk is full',
  EDQUOT: 'your share of the disk is used up',
  EIO: 'the disk reports an error',
  ENOENT: 'the folder is missing and cannot be made',
};

const FULL: ReadonlySet<string> = new Set(['ENOSPC', 'EDQUOT']);

const codeOf = (cause: unknown): string => (cause as NodeJS.ErrnoException)?.code ?? '';

/** @returns the reason, in words that fit behind a colon; the error's own if the table has none */
export function whyRefused(cause: unknown): string {
  return WHY[codeOf(cause)] ?? (cause instanceof Error ? cause.message : String(cause));
}

/** @returns what to do about a folder that takes no frames, in one sentence: the same before the first frame and after */
export function untilStored(cause: unknown): string {
  const code = codeOf(cause);
  const first = FULL.has(code)
    ? 'Free some space there'
    : code === 'EROFS'
      ? 'Make that disk writable'
      : 'Check that folder and its disk';
  return `${first}, or choose another folder with --into; then fire again.`;
}
