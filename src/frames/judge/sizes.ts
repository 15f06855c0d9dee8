// Files whose size is far from that of their neighbours in the set. Pure. What counts as far depends on the kind of file: the size of a raw
// file changes with the light, and that of a JPEG changes much more.

export interface SizedFrame {
  /** Of its frame. */
  readonly number: number;
  /** Its extension, such as jpg. */
  readonly kind: string;
  readonly bytes: number;
  /** Whether it is the second file of its frame; left out, it is the frame's own. */
  readonly isPartner?: boolean;
}

export interface OddSize {
  readonly number: number;
  readonly bytes: number;
  readonly isPartner?: boolean;
  /** The sizes of the frames beside it, the darker first: two, or one at an end of the set. */
  readonly neighbours: readonly number[];
}

/**
 * Raw files that are compressed without loss take about 4 bits a pixel if there is little more than noise, up to 12 if there is much detail,
 * and change gradually from frame to frame: a frame between two others is neither half as large as the smaller nor twice as large as
 * the larger. Common practice, no source.
 */
const RAW_BETWEEN = 2;
/** At an end of the set a whole frame may be blown or black, and compress to very little. Common practice, no source. */
const RAW_AT_END = 4;
/**
 * A JPEG of a black or blown frame may be a twentieth of the one in the middle, so that no size is odd at the ends. But sizes rise towards
 * the middle of a set and fall from there: none dips far below both its neighbours. Common practice, no source.
 */
const LOSSY_BETWEEN = 4;

const LOSSY: ReadonlySet<string> = new Set(['jpg', 'heic', 'heif', 'avif', 'jp2']);

/**
 * @param frames the files of one set, those of the darkest frame first; only files of the same kind are
 *   compared
 * @returns the odd ones, each with the frame that it was `of`
 */
export function oddSizes<Frame extends SizedFrame>(
  frames: readonly Frame[],
): (OddSize & { readonly of: Frame })[] {
  return frames.flatMap((frame) => {
    const alike = frames.filter(({ kind }) => kind === frame.kind);
    const at = alike.indexOf(frame);
    const neighbours = [alike[at - 1], alike[at + 1]].flatMap((one) =>
      one === undefined ? [] : [one.bytes],
    );
    const { number, bytes, isPartner = false } = frame;
    return isOdd(frame, neighbours) ? [{ number, bytes, isPartner, neighbours, of: frame }] : [];
  });
}

function isOdd({ kind, bytes }: SizedFrame, neighbours: readonly number[]): boolean {
  const [smaller, larger] = [Math.min(...neighbours), Math.max(...neighbours)];
  const isBetween = neighbours.length === 2;
  if (neighbours.length === 0) return false;
  if (LOSSY.has(kind)) return isBetween && bytes * LOSSY_BETWEEN < smaller;
  if (!isBetween) return bytes * RAW_AT_END < smaller;
  return bytes * RAW_BETWEEN < smaller || bytes > larger * RAW_BETWEEN;
}

/** @returns one sentence for the photographer */
export function oddSizeSentence({ bytes, isPartner = false, neighbours }: OddSize): string {
  const beside = neighbours.map((size) => megabytes(size)).join(' and ');
  const whose = neighbours.length === 1 ? 'that of its neighbour has' : 'those of its neighbours have';
  return `Its ${isPartner ? 'second file' : 'file'} has ${megabytes(bytes)} MB, and ${whose} ${beside} MB: check that it is complete.`;
}

const megabytes = (bytes: number): string => (bytes / 1e6).toFixed(bytes < 1e5 ? 3 : 1);
