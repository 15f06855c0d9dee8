// The practice body reached directly: a Link whose settings carry the names and labels that libgphoto2 gives those of a
// body of its shape (faces.ts), so that everything above it is the same for both.
import { constants } from 'node:fs';
import { access, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import type {
  BodyIdentity,
  BringOptions,
  FiredFrame,
  FireOptions,
  Heard,
  Link,
  LinkLimits,
  ListedFile,
  Piece,
  PressOptions,
  Setting,
  Settings,
} from '../link.js';
import { frameNotStored, nothingFired } from '../not-stored.js';
import { type Face, facesOf, toldBy } from './faces.js';
import { NO_TIME, PRACTICE_SHAPES, PracticeBody } from './model.js';
import { BULB, buttonsOf, PRACTICE_APART, PracticeApart } from './practice-apart.js';
import { sceneAtHand } from './render.js';
import { PRACTICE_SCENES, type PracticeScene, STILL } from './view.js';

/** Writing the file, reading it and judging it; measured on two cores. */
const HANDING_OVER_SECONDS = 0.1;

/** The nominal 30 s is 32 s. */
const LONGEST_LABEL_SECONDS = 32;
/** As over the direct link. */
const LONGEST_SECONDS = 900;

const CLOCK = 'datetime';
const IN_A_BURST = 'burstnumber';

export class PracticeLink implements Link {
  private readonly body: PracticeBody;
  private readonly faces: readonly Face[];
  private readonly apart: PracticeApart | null;
  private fired = 0;

  /** @param isApart whether it takes release and fetch apart; if not, it only does both at once */
  constructor(body: PracticeBody, { isApart = false }: { readonly isApart?: boolean } = {}) {
    this.body = body;
    this.faces = facesOf(body.options.shape);
    this.apart = isApart ? new PracticeApart(body) : null;
  }

  async identify(): Promise<BodyIdentity> {
    return { link: 'practice', model: this.body.model, serial: this.body.options.serial };
  }

  async readLimits(): Promise<LinkLimits> {
    const { timing } = this.body.options;
    return {
      longestSeconds: this.apart === null ? LONGEST_LABEL_SECONDS : LONGEST_SECONDS,
      secondsPerChange: timing.change,
      secondsPerSetting: timing.changePerSetting,
      secondsPerFrame: timing.releaseLag + timing.cycle + HANDING_OVER_SECONDS,
      apart: this.apart === null ? null : PRACTICE_APART,
    };
  }

  async readSettings(): Promise<Settings> {
    return new Map(
      [
        ...this.faces.map((entry) => this.show(entry)),
        ...toldBy(this.body),
        ...(this.apart === null ? [] : this.forBursts()),
      ].map((setting) => [setting.name, setting]),
    );
  }

  async changeSetting(name: string, value: string): Promise<Setting> {
    if (name === IN_A_BURST && this.apart !== null) return this.setBurst(value);
    if (name === CLOCK) return this.setClock(value);
    if (name === BULB && value === 'off' && this.apart !== null) return this.closeShutter();
    const entry = this.faces.find((candidate) => candidate.name === name);
    if (entry === undefined)
      throw new EvenrungError('unknown-setting', `The practice camera has no setting '${name}'.`);
    const choice = this.body.choices[entry.of].find(
      (candidate) => entry.label(candidate as never, this.body) === value,
    );
    if (choice === undefined) {
      throw new EvenrungError(
        'choice-not-offered',
        `The practice camera does not offer '${value}' for '${name}'.`,
      );
    }
    if (await this.body.change(entry.of, choice as never)) return this.show(entry);
    throw new EvenrungError(
      'setting-not-taken',
      `The practice camera does not take '${value}' for '${name}' now.`,
    );
  }

  async fire({ into }: FireOptions): Promise<FiredFrame> {
    // As over USB: a bad folder must not cost a frame.
    await access(into, constants.W_OK).catch((cause: unknown) => {
      throw nothingFired(into, cause);
    });
    const started = performance.now();
    const [file] = await this.body.release();
    if (file === undefined) {
      throw new EvenrungError('frame-missing', 'The practice camera was fired, but took no frame.', {
        released: true,
      });
    }
    this.fired += 1;
    const target = path.join(into, `incoming.${process.pid}-${this.fired}`);
    try {
      await writeFile(target, file.content, { flag: 'wx' });
    } catch (cause) {
      throw frameNotStored(into, cause);
    }
    return {
      path: target,
      seconds: (performance.now() - started) / 1000,
      saidBytes: file.content.length,
    };
  }

  async letGo(): Promise<void> {
    this.body.letGo();
  }

  // --- release and fetch apart; the body's side is in practice-apart.ts

  async press(options: PressOptions): Promise<void> {
    return this.must().press(options);
  }

  async unpress(): Promise<void> {
    return this.must().unpress();
  }

  async listen(ms: number): Promise<Heard> {
    return this.must().listen(ms);
  }

  async bring(options: BringOptions): Promise<Piece> {
    return this.must().bring(options);
  }

  async list(): Promise<readonly ListedFile[]> {
    return this.must().list();
  }

  private must(): PracticeApart {
    if (this.apart !== null) return this.apart;
    throw new EvenrungError('internal', 'This link to the practice camera releases and fetches at once.');
  }

  private forBursts(): readonly Setting[] {
    const { shape } = this.body.options;
    const inABurst: Setting = { name: IN_A_BURST, kind: 'range', value: String(this.body.state.burstNumber) };
    return [...buttonsOf(this.body), ...(shape === 'pattern' ? [inABurst] : [])];
  }

  private async setBurst(value: string): Promise<Setting> {
    if (await this.body.change('burstNumber', Number(value)))
      return { name: IN_A_BURST, kind: 'range', value };
    throw new EvenrungError(
      'setting-not-taken',
      `The practice camera cannot fire ${value} frames in a burst.`,
    );
  }

  /** As the library takes it; it is always read as off. */
  private closeShutter(): Setting {
    this.body.letGo();
    return { name: BULB, kind: 'toggle', value: 'off' };
  }

  private setClock(value: string): Setting {
    if (!/^\d{1,12}$/.test(value)) {
      throw new EvenrungError('choice-not-offered', `'${CLOCK}' takes seconds since 1970, not '${value}'.`);
    }
    this.body.setClock(new Date(Number(value) * 1000));
    return { name: CLOCK, kind: 'date', value: this.body.clock.toISOString() };
  }

  private show(entry: Face): Setting {
    return {
      name: entry.name,
      kind: 'choice',
      value: entry.label(this.body.state[entry.of] as never, this.body),
      choices: this.body.choices[entry.of].map((value) => entry.label(value as never, this.body)),
    };
  }
}

/**
 * The environment says how much time the body takes, how large its pictures are, and how it brackets: EVENRUNG_PRACTICE_TIMING is
 * `lifelike` (the default) or `at-once`, EVENRUNG_PRACTICE_PICTURE `full` (the default) or `small`, EVENRUNG_PRACTICE_SHAPE one of
 * PRACTICE_SHAPES (`amount` by default), EVENRUNG_PRACTICE_MODE `manual` (the default) or `aperture`, EVENRUNG_PRACTICE_SCENE one of
 * PRACTICE_SCENES (`dusk` by default; the others are drawn when the body is opened), and EVENRUNG_PRACTICE_LINK
 * whether release and fetch are two things: `apart` (the default) or `at-once`, as over the npm binding.
 * @throws EvenrungError unknown-body
 */
export function openPracticeLink(): Link {
  const picture = process.env.EVENRUNG_PRACTICE_PICTURE === 'small' ? 'small' : 'full';
  const view = { ...STILL, scene: namedScene() };
  // Now, so that the first frame does not wait for it.
  void sceneAtHand(picture, view);
  const timing = process.env.EVENRUNG_PRACTICE_TIMING === 'at-once' ? { timing: NO_TIME } : {};
  const named = process.env.EVENRUNG_PRACTICE_SHAPE ?? 'amount';
  const shape = PRACTICE_SHAPES.find((candidate) => candidate === named);
  if (shape === undefined) {
    throw new EvenrungError(
      'unknown-body',
      `The practice camera has no shape '${named}': EVENRUNG_PRACTICE_SHAPE takes ${PRACTICE_SHAPES.join(', ')}.`,
    );
  }
  const body = new PracticeBody({ ...timing, picture, view, shape });
  if (process.env.EVENRUNG_PRACTICE_MODE === 'aperture') void body.change('mode', 'aperture');
  return new PracticeLink(body, { isApart: process.env.EVENRUNG_PRACTICE_LINK !== 'at-once' });
}

function namedScene(): PracticeScene {
  const named = process.env.EVENRUNG_PRACTICE_SCENE ?? 'dusk';
  const scene = PRACTICE_SCENES.find((candidate) => candidate === named);
  if (scene !== undefined) return scene;
  throw new EvenrungError(
    'unknown-body',
    `The practice camera has no scene '${named}': EVENRUNG_PRACTICE_SCENE takes ${PRACTICE_SCENES.join(', ')}.`,
  );
}
