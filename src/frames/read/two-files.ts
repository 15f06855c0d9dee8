// Two files of one exposure: which of them is the frame's own, and which is shown. By their kinds alone;
// pure.
//
// The frame's own file is the one that is merged: it has everything that the sensor saw, and it decides
// whether the frame is good. A JPEG beside it is the one that is shown: it is the same picture, decoded in a
// fraction of the time. So the frames of one set are all of one kind, whichever of the two files comes first,
// or alone.

/**
 * Pictures that the camera has developed, by their extensions; an earlier one is preferred for showing.
 * Everything else is raw.
 */
const FINISHED: readonly string[] = ['jpg', 'jpeg', 'heic', 'heif', 'hif', 'avif'];

interface OfKind {
  /** Its extension by content; undefined if it is nothing that a camera writes. */
  readonly kind: string | undefined;
}

/** 0 for raw; the larger, the sooner it is looked at. */
function finish({ kind }: OfKind): number {
  const at = kind === undefined ? -1 : FINISHED.indexOf(kind.toLowerCase());
  return at < 0 ? 0 : FINISHED.length - at;
}

/** @returns the frame's own file, and its partner; of two alike, in their order */
export function ownFirst<File extends OfKind>(one: File, other: File): readonly [own: File, partner: File] {
  // A file that is not a picture is never the frame's own.
  if (one.kind === undefined || other.kind === undefined)
    return one.kind === undefined ? [other, one] : [one, other];
  return finish(other) < finish(one) ? [other, one] : [one, other];
}

/** @returns the files in the order in which a picture of the frame is looked for in them */
export const shownFirst = <File extends OfKind>(files: readonly File[]): File[] =>
  files.toSorted((one, other) => finish(other) - finish(one));

/** @returns a photographer's name for a file of this kind, with its article */
export function kindInWords({ kind }: OfKind): string {
  if (kind === undefined) return 'the file';
  const at = finish({ kind });
  if (at === 0) return 'the raw file';
  return /^jpe?g$/i.test(kind) ? 'the JPEG' : 'the HEIF picture';
}
