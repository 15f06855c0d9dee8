declare module 'parse-hdr' {
  /** Width and height first; four values a pixel. */
  export default function parseHdr(file: Uint8Array): {
    readonly shape: readonly number[];
    readonly exposure: number;
    readonly gamma: number;
    readonly data: Float32Array;
  };
}
