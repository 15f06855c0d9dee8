// The names of the files beside the frames of a set, apart from sidecars.

/** The record, which comes last. */
export const RECORD = 'set.json';
/** The content of the record. */
export const recordText = (record: object): string => `${JSON.stringify(record, null, 2)}\n`;

/** All frames of the set on one picture. */
export const CONTACT_SHEET = 'contact-sheet.jpg';
/** The record as a table. */
export const TABLE = 'frames.csv';
/** Which parts of the picture the set holds. */
export const COVERAGE_MAP = 'coverage.png';
/** What the set can become, merged and toned: a proof only. */
export const PREVIEW = 'preview.jpg';
/** Relative radiance that was merged from the frames. */
export const RADIANCE = 'radiance.hdr';

/** Those that not every set has. */
export const OF_LIGHT: readonly string[] = [COVERAGE_MAP, PREVIEW, RADIANCE];
