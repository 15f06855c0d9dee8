// The practice body reached directly: a Link whose settings carry the names and labels that libgphoto2 gives those of a
// body of dialect A (or D), so that everything above it is the same for both.
import { writeFile } from 'node:fs/promises';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import { APERTURE_SCALES, SHUTTER_SCALES, type Sixths } from '../../exposure/index.js';
import { BRACKET_OFF, bracketLabel, shutterLabel } from '../dialects/amount/labels.js';
import type { BodyIdentity, FiredFrame, FireOptions, Link, LinkLimits, Setting, Settings } from '../link.js';
import { AT_ONCE, LIFELIKE, PracticeBody, type PracticeState } from './model.js';
import { sceneMap } from './scene.js';

/** One setting of the model under its name on the wire. */
interface Face<K extends keyof PracticeState = keyof PracticeState> {
  readonly name: string;
  readonly of: K;
  readonly label: (value: PracticeState[K]) => string;
}

const face = <K extends keyof PracticeState>(
  name: string,
  of: K,
  label: (value: PracticeState[K]) => string,
) => ({ name, of, label }) as Face;

const shutterAt = (tv: Sixths): string => {
  const setting = SHUTTER_SCALES.third.find((candidate) => candidate.tv === tv);
  return setting === undefined ? 'unknown' : shutterLabel(setting);
};

const apertureAt = (av: Sixths): string =>
  APERTURE_SCALES.third.find((setting) => setting.av === av)?.label ?? 'unknown';

/** Decimals are cut, as the library writes them: 2/3 is 0.6. */
const compensationLabel = (sixths: Sixths): string => {
  const size = Math.abs(sixths);
  const part = { 2: '.3', 4: '.6' }[size % 6] ?? '';
  return `${sixths < 0 ? '-' : ''}${Math.floor(size / 6)}${part}`;
};

const FACES: readonly Face[] = [
  face('autoexposuremode', 'mode', (mode) => (mode === 'manual' ? 'Manual' : 'AV')),
  face('shutterspeed', 'shutter', shutterAt),
  face('aperture', 'aperture', apertureAt),
  face('iso', 'iso', String),
  face('exposurecompensation', 'compensation', compensationLabel),
  face('aeb', 'bracketStep', (step) => (step === 0 ? BRACKET_OFF : bracketLabel(step))),
  face('drivemode', 'drive', (drive) => (drive === 'single' ? 'Single' : 'Continuous')),
  face('capturetarget', 'target', (target) => (target === 'card' ? 'Memory card' : 'Internal RAM')),
  face('whitebalance', 'whiteBalance', (balance) => (balance === 'auto' ? 'Auto' : 'Daylight')),
  face('focusmode', 'focus', (focus) => (focus === 'manual' ? 'Manual' : 'One Shot')),
];

/** Writing the file, reading it and judging it; measured on two cores. */
const HANDING_OVER_SECONDS = 0.1;

export class PracticeLink implements Link {
  private readonly body: PracticeBody;
  private readonly faces: readonly Face[];
  private fired = 0;

  constructor(body: PracticeBody) {
    this.body = body;
    this.faces = FACES.filter((entry) => entry.name !== 'aeb' || body.options.shape === 'amount');
  }

  async identify(): Promise<BodyIdentity> {
    return { link: 'practice', model: this.body.model, serial: this.body.options.serial };
  }

  async readLimits(): Promise<LinkLimits> {
    const { timing, bracketPattern } = this.body.options;
    return {
      // The nominal 30 s is 32 s.
      longestSeconds: 32,
      secondsPerChange: timing.change,
      secondsPerSetting: 0,
      secondsPerFrame: timing.releaseLag + timing.cycle + HANDING_OVER_SECONDS,
      bracketPatterns: [bracketPattern],
    };
  }

  async readSettings(): Promise<Settings> {
    const told: Setting[] = [
      { name: 'cameramodel', kind: 'text', value: this.body.model },
      { name: 'serialnumber', kind: 'text', value: this.body.options.serial },
      { name: 'availableshots', kind: 'text', value: String(this.body.framesLeft) },
    ];
    return new Map(
      [...this.faces.map((entry) => this.show(entry)), ...told].map((setting) => [setting.name, setting]),
    );
  }

  async changeSetting(name: string, value: string): Promise<Setting> {
    const entry = this.faces.find((candidate) => candidate.name === name);
    if (entry === undefined)
      throw new EvenrungError('unknown-setting', `The practice body has no setting '${name}'.`);
    const choice = this.body.choices[entry.of].find((candidate) => entry.label(candidate as never) === value);
    if (choice === undefined) {
      throw new EvenrungError('choice-not-offered', `The practice body offers no '${value}' for '${name}'.`);
    }
    await this.body.change(entry.of, choice as never);
    return this.show(entry);
  }

  async fire({ into }: FireOptions): Promise<FiredFrame> {
    const started = performance.now();
    const file = await this.body.release();
    this.fired += 1;
    const target = path.join(into, `incoming.${process.pid}-${this.fired}`);
    try {
      await writeFile(target, file.jpeg, { flag: 'wx' });
    } catch (cause) {
      const words = cause instanceof Error ? cause.message : String(cause);
      throw new EvenrungError('storing-failed', `The frame was made, but it could not be stored: ${words}.`);
    }
    return { path: target, seconds: (performance.now() - started) / 1000 };
  }

  async release(): Promise<void> {
    // Nothing is held.
  }

  private show(entry: Face): Setting {
    return {
      name: entry.name,
      kind: 'choice',
      value: entry.label(this.body.state[entry.of] as never),
      choices: this.body.choices[entry.of].map((value) => entry.label(value as never)),
    };
  }
}

/** The environment says how much time the body takes: EVENRUNG_PRACTICE_TIMING is `lifelike` (the default) or `at-once`. */
export function openPracticeLink(): Link {
  // Drawn now, so that the first frame does not wait for it.
  void sceneMap();
  const timing = process.env.EVENRUNG_PRACTICE_TIMING === 'at-once' ? AT_ONCE : LIFELIKE;
  return new PracticeLink(new PracticeBody({ timing }));
}
