// A practice body on the virtual USB port, ready for a test: the body, how it shows itself, and the end of the cable.
import { mkdtemp, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import path from 'node:path';
import {
  AT_ONCE,
  PracticeBody,
  type PracticeOptions,
  type PracticeShape,
} from '../../../src/camera/practice/model.js';
import { buildPort } from '../build-port.js';
import { AmountFace } from './amount-face.js';
import type { Card } from './card.js';
import { DriveEntryFace } from './drive-entry-face.js';
import { PatternFace } from './pattern-face.js';
import { Responder } from './responder.js';
import { StandardFace } from './standard-face.js';
import { VirtualUsb } from './virtual-usb.js';

/** All of them, as tests that take each go through them. */
export const FACES = [
  'amount',
  'pattern',
  'drive-entry',
  'drive-entry-leaping',
  'drive-entry-walking',
  'hidden',
  'standard',
] as const;

/**
 * `amount` is dialect A. `hidden` is dialect D as a body of vendor extension 0x0B shows it whose bracket is out of reach:
 * the labels of A without `aeb`. `pattern` is dialect B. `drive-entry` is dialect C as a newer body has it, which takes
 * values; `drive-entry-leaping` and `drive-entry-walking` are older ones, which move shutter, ISO and compensation, any number of
 * settings at a command or one. `standard` is dialect D in plain PTP: labels such as `0.0080s`.
 */
export type FaceName = (typeof FACES)[number];

const SHAPES: Readonly<Record<FaceName, PracticeShape>> = {
  amount: 'amount',
  hidden: 'none',
  pattern: 'pattern',
  'drive-entry': 'drive-entry',
  'drive-entry-leaping': 'drive-entry',
  'drive-entry-walking': 'drive-entry',
  standard: 'none',
};

function faceOf(name: FaceName, body: PracticeBody) {
  switch (name) {
    case 'amount':
    case 'hidden':
      return new AmountFace(body);
    case 'pattern':
      return new PatternFace(body);
    case 'drive-entry':
      return new DriveEntryFace(body, 'written');
    case 'drive-entry-leaping':
      return new DriveEntryFace(body, 'leapt');
    case 'drive-entry-walking':
      return new DriveEntryFace(body, 'stepped');
    case 'standard':
      return new StandardFace(body);
  }
}

export interface PluggedBody {
  readonly body: PracticeBody;
  readonly card: Card;
  readonly responder: Responder;
  readonly usb: VirtualUsb;
  /** What a process needs in its environment to find the body, and none other. */
  readonly environment: Readonly<Record<'IOLIBS' | 'VIRTUAL_BODY_SOCKETS', string>>;
  /** Pulls the cable and tidies up. */
  remove(): Promise<void>;
}

/** @param options of the practice body; it takes no time where nothing else is said */
export async function plugIn(name: FaceName, options: Partial<PracticeOptions> = {}): Promise<PluggedBody> {
  const body = new PracticeBody({ ...AT_ONCE, ...options, shape: SHAPES[name] });
  const face = faceOf(name, body);
  const folder = await mkdtemp(path.join(tmpdir(), 'evenrung-wire-'));
  const responder = new Responder(face);
  const usb = new VirtualUsb(path.join(folder, 'body'), responder);
  if (face instanceof StandardFace) face.reportOn(usb);
  await usb.plug();
  return {
    body,
    card: face.card,
    responder,
    usb,
    environment: { IOLIBS: buildPort(), VIRTUAL_BODY_SOCKETS: usb.path },
    remove: async () => {
      await usb.unplug();
      await rm(folder, { recursive: true, force: true });
    },
  };
}
