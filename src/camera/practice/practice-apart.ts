// The practice body over a link that takes release and fetch apart: its button is pressed and let go, its files are told of as they are
// made, and brought in pieces. Reached directly, as practice-link.ts reaches its settings.
import { appendFile, writeFile } from 'node:fs/promises';
import { EvenrungError } from '../../../shared/errors.js';
import type {
  ApartLimits,
  BringOptions,
  Heard,
  ListedFile,
  MadeFile,
  Piece,
  PressOptions,
  Setting,
} from '../link.js';
import { frameNotStored } from '../not-stored.js';
import type { PracticeBody } from './model.js';
import type { PracticeShape } from './shapes.js';
import type { PracticeFile } from './store.js';

export const PRACTICE_APART: ApartLimits = {
  library: 'the practice camera',
  pieceBytes: 1024 * 1024,
  headBytes: 128 * 1024,
  // It lies in the memory of this computer.
  bytesPerSecond: 500_000_000,
};

const button = (name: string, choices: readonly string[]): Setting => ({
  name,
  kind: 'choice',
  value: choices[0] ?? '',
  choices,
});
const toggle = (name: string): Setting => ({ name, kind: 'toggle', value: 'off' });

/** The button as libgphoto2 shows it for a body of each shape; a burst on a body of shape B is one release of the library. */
const BUTTONS: Readonly<Record<PracticeShape, readonly Setting[]>> = {
  amount: [button('eosremoterelease', ['None', 'Immediate', 'Release Full'])],
  pattern: [],
  'drive-entry': [toggle('autofocus'), toggle('capture')],
  none: [],
};

/** The switch that opens and closes the shutter for as long as somebody wants. */
export const BULB = 'bulb';

export const buttonsOf = ({ options: { shape, bulb } }: PracticeBody): readonly Setting[] => [
  ...BUTTONS[shape],
  ...(bulb ? [toggle(BULB)] : []),
];

export class PracticeApart {
  private readonly body: PracticeBody;
  private readonly told: MadeFile[] = [];
  private isOver = false;
  private wake: () => void = () => undefined;

  constructor(body: PracticeBody) {
    this.body = body;
    body.heed((event) => {
      if (event.is === 'file') this.told.push(madeOf(event.file));
      else this.isOver = true;
      this.wake();
    });
  }

  async press({ button: held, holdSeconds }: PressOptions): Promise<void> {
    const { body } = this;
    const isBurst = body.options.shape === 'pattern' && body.state.drive === 'continuous';
    const answer = body.press({
      ...(holdSeconds === null ? {} : { holdSeconds }),
      ...(isBurst ? { frames: body.state.burstNumber } : {}),
    });
    if (answer === 'taken') {
      this.isOver = false;
      if (held === null && holdSeconds === null && !isBurst) body.letGo();
      return;
    }
    if (answer === 'card-full')
      throw new EvenrungError(
        'frame-missing',
        "The practice camera's card is full. Nothing was fired: change the card, or delete what is safe elsewhere.",
        { released: false },
      );
    throw new EvenrungError('body-busy', 'The practice camera is busy with the frame before.');
  }

  async unpress(): Promise<void> {
    this.body.letGo();
  }

  async listen(ms: number): Promise<Heard> {
    if (this.told.length === 0 && !this.isOver && ms > 0) {
      let timer: NodeJS.Timeout | undefined;
      await new Promise<void>((resolve) => {
        this.wake = resolve;
        timer = setTimeout(resolve, ms);
      });
      clearTimeout(timer);
    }
    const heard = { made: this.told.splice(0), isOver: this.isOver };
    this.isOver = false;
    return heard;
  }

  async bring({ file, to, from, most }: BringOptions): Promise<Piece> {
    const { body } = this;
    const there = body.files.find(({ folder, name }) => folder === file.folder && name === file.name);
    if (there === undefined)
      throw new EvenrungError('file-not-there', `The practice camera no longer has the file ${file.name}.`);
    if (!(await body.maySend()))
      throw new EvenrungError('body-busy', 'The practice camera sends nothing while its shutter is open.');
    const piece = there.content.subarray(from, Math.min(there.content.length, from + most));
    try {
      if (from === 0) await writeFile(to, piece, { flag: 'wx' });
      else await appendFile(to, piece);
    } catch (cause) {
      throw frameNotStored(to, cause);
    }
    const isEnd = from + piece.length >= there.content.length;
    if (isEnd && there.place === 'memory') body.fetched(there);
    return { bytes: piece.length, isEnd };
  }

  async list(): Promise<readonly ListedFile[]> {
    return this.body.files
      .filter(({ place }) => place === 'card')
      .map((file) => ({ ...madeOf(file), writtenAt: wallTimeOf(file.takenAt) }));
  }
}

const madeOf = ({ folder, name, content }: PracticeFile): MadeFile => ({
  folder,
  name,
  bytes: content.length,
});

/** By the wall, without a zone. */
function wallTimeOf(at: Date): string {
  const local = new Date(at.getTime() - at.getTimezoneOffset() * 60_000);
  return local.toISOString().slice(0, 19);
}
