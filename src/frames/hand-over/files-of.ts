// The files of a frame in a record: its own, and its partner if it has one. Pure.
import type { KeptFrame } from '../../../shared/set-record.js';
import { shownFirst } from '../read/two-files.js';
import { sidecarNames } from './sidecar.js';

export interface FileOfFrame {
  readonly file: string;
  readonly sha256: string | null;
  readonly bytes: number | null;
  readonly recorded: KeptFrame['recorded'];
  readonly sidecar: string | null;
  readonly isPartner: boolean;
}

/** @returns the frame's own file first; none if it was not made */
export function filesOf({ file, sha256, bytes, recorded, sidecar, partner }: KeptFrame): FileOfFrame[] {
  const own = file === null ? [] : [{ file, sha256, bytes, recorded, sidecar, isPartner: false }];
  if (partner?.state !== 'there') return own;
  const { state: _, ...other } = partner;
  return [...own, { ...other, isPartner: true }];
}

/** @returns the names that the sidecar of such a file can have */
export const sidecarsOf = ({
  file,
  isPartner,
}: Pick<FileOfFrame, 'file' | 'isPartner'>): readonly string[] =>
  isPartner ? [partnersSidecar(file)] : sidecarNames(file);

/** The name without its extension is that of the frame's own file, whose sidecar has it. */
export const partnersSidecar = (file: string): string => sidecarNames(file)[1];

/** The files of a frame in the set folder, as a view or a record lists them. */
export interface HasFiles {
  readonly file: string | null;
  readonly partner?:
    | { readonly state: 'there'; readonly file: string }
    | { readonly state: 'missing' }
    | undefined;
}

/** @returns the names of its files, its own first */
export const namesOf = ({ file, partner }: HasFiles): string[] => [
  ...(file === null ? [] : [file]),
  ...(partner?.state === 'there' ? [partner.file] : []),
];

/** @returns the names of its files in the order in which a picture of the frame is looked for in them, with their kinds */
export const shownFilesOf = (frame: HasFiles): { readonly file: string; readonly kind: string }[] =>
  shownFirst(namesOf(frame).map((file) => ({ file, kind: kindIn(file) })));

/** @returns the extension of a name, without its dot */
const kindIn = (file: string): string => /\.([^.]*)$/.exec(file)?.[1]?.toLowerCase() ?? '';
