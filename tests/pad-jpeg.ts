// A JPEG file made longer without being another picture: cameras write megabytes, and the practice body does not.

const MARKER = 0xff;
const COMMENT = 0xfe;
const START_OF_SCAN = 0xda;
/** A segment's length counts itself, and has two bytes (ITU-T T.81, B.1.1.4). */
const MOST_OF_SEGMENT = 0xffff;

/** @returns the same picture with comments before its scan, of at least so many bytes */
export function padJpeg(jpeg: Buffer, bytes: number): Buffer {
  let at = 2;
  while (jpeg[at + 1] !== START_OF_SCAN) {
    if (jpeg[at] !== MARKER || at + 4 > jpeg.length) throw new Error('This is no JPEG file.');
    at += 2 + jpeg.readUInt16BE(at + 2);
  }
  const comment = Buffer.alloc(2 + MOST_OF_SEGMENT, 0x20);
  comment.set([MARKER, COMMENT]);
  comment.writeUInt16BE(MOST_OF_SEGMENT, 2);
  const count = Math.max(0, Math.ceil((bytes - jpeg.length) / comment.length));
  return Buffer.concat([jpeg.subarray(0, at), ...Array<Buffer>(count).fill(comment), jpeg.subarray(at)]);
}
