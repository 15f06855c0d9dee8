// Rules on what decides the exposure and the look of a frame: what must stand still while only the shutter moves.
import { firstOf, isOn, type Told, toldOf } from './labels.js';
import {
  askPerson,
  attention,
  type Finding,
  type Found,
  fine,
  gravest,
  type ReadinessQuestion,
  type Rule,
  stops,
  who,
} from './question.js';

/** 0x0B tells the mode and, apart, its dial; `expprogram` is PTP's own; the last three are those of few bodies. */
const MODE_NAMES = [
  'autoexposuremode',
  'autoexposuremodedial',
  'expprogram',
  'expprogram2',
  'shootingmode',
  'expmode',
];
/** Under 0x0A this tells the mode behind U1 to U3. */
const MODE_BEHIND = 'usermode';

/** Positions of a dial that stand for a stored set of settings: they do not tell the mode. */
const STORED: ReadonlySet<string> = new Set(['custom', 'c2', 'c3', 'u1', 'u2', 'u3']);
const MANUAL: ReadonlySet<string> = new Set(['m', 'manual']);
const APERTURE_PRIORITY: ReadonlySet<string> = new Set(['a', 'av']);
/** Other positions of a dial. Anything not listed is a label that this program has never seen. */
const OTHER_MODES: ReadonlySet<string> = new Set(
  `p|s|tv|fv|bulb|auto|a_dep|dep|m_dep|lock|green|creative|creative auto|hybrid auto|action|movie|scn|scene|effects|portrait|
  landscape|macro|closeup|sports|sports action|children|night portrait|night landscape|night scene|sunset|food|panning|flash off|
  no flash|automatic (no flash)|handheld night scene|hand-held twilight|hdr|hdr backlight control|hdr art standard|hdr art vivid|
  hdr art bold|hdr art embossed|grainy b/w|soft focus|toy camera effect|fish-eye effect|water painting effect|miniature effect|
  self portrait|smooth skin|smoothing|back light|panorama|sweep panorama|tilt-shift|select color|intelligent auto|
  intelligent auto flash off|superior auto|movie (p)|movie (a)|movie (s)|movie (m)|movie (scene)|tele-zoom cont. priority ae|
  anti motion blur|picture effect|s&q`
    .split('|')
    .map((label) => label.trim()),
);

function lookAtMode(question: ReadinessQuestion): Finding {
  const { settings, mode } = question;
  const body = who(question);
  const manual = mode === 'manual';
  const wanted = manual ? 'manual' : 'aperture priority';
  const place = manual ? 'M (manual)' : 'A or Av (aperture priority)';
  // The invented body has no dial.
  const turn =
    question.link === 'practice'
      ? `Start Evenrung with EVENRUNG_PRACTICE_MODE=${mode}`
      : `Turn its mode dial to ${place}`;
  const ofMode = (label: string) => (manual ? MANUAL : APERTURE_PRIORITY).has(label);
  const ofOther = (label: string) =>
    MANUAL.has(label) || APERTURE_PRIORITY.has(label) || OTHER_MODES.has(label);
  const readable = toldOf(settings, MODE_NAMES).filter((told) => told.readable);
  const stored = readable.find(({ label }) => STORED.has(label));
  const told =
    readable.find(({ label }) => !STORED.has(label)) ??
    (stored === undefined ? undefined : toldOf(settings, [MODE_BEHIND]).find((behind) => behind.readable));
  if (told !== undefined && ofMode(told.label)) return fine(`${body} is in ${wanted} mode.`);
  if (told !== undefined && (ofOther(told.label) || told.offers(ofMode))) {
    const why = manual
      ? 'in which Evenrung cannot set the shutter'
      : 'in which exposure compensation moves more than the shutter';
    return stops(`${body} is in mode ${told.shown}, ${why}. ${turn}, then fire again.`);
  }
  const said = (told ?? stored)?.shown;
  return askPerson(
    said === undefined
      ? `${body} does not report its mode: make sure that it is on ${place}.`
      : `${body} reports its mode as ${said}, which may mean any: make sure that it is ${wanted}.`,
    `${body} is in ${wanted} mode, as ticked.`,
  );
}

const ISO = 'iso';
/** Two properties of 0x0A; a body has one of them, or both. */
const ISO_SWITCHES = ['isoauto', 'autoiso'];
/** 0xFFFF is automatic in ISO 15740 (from memory); some bodies set all of 32 bits. */
const AUTOMATIC_ISO_NUMBERS: ReadonlySet<string> = new Set(['65535', '-1', '4294967295']);
/** Some bodies of 0x0A write an automatic with its range, such as `A800 (160-800)`. */
const AUTOMATIC_ISO = /auto|^a\d+ \(|^factory default$/;

function lookAtIso(question: ReadinessQuestion): Finding {
  const { settings } = question;
  const body = who(question);
  const told = firstOf(settings, [ISO]);
  const label = told?.label ?? '';
  // Some bodies add it to the ISO, automatic or not.
  if (label.includes('multi frame')) {
    return stops(
      `${body} merges several exposures into each frame (ISO ${told?.shown}). Set a plain, fixed ISO, then fire again.`,
    );
  }
  if (
    ISO_SWITCHES.some((name) => isOn(settings, name) === true) ||
    AUTOMATIC_ISO.test(label) ||
    AUTOMATIC_ISO_NUMBERS.has(label)
  ) {
    return stops(
      `${body}'s ISO is automatic and would move from frame to frame. Set a fixed ISO, such as 100, then fire again.`,
    );
  }
  if (/^\d+$/.test(label) && Number(label) > 0) return fine(`The ISO is fixed at ${told?.shown}.`);
  return askPerson(
    told === undefined || !told.readable
      ? `${body} does not report its ISO: make sure that it is fixed, not automatic.`
      : `${body} reports its ISO as ${told.shown}: make sure that it is fixed, not automatic.`,
    'The ISO is fixed, as ticked.',
  );
}

const FLASH_MODE = 'flashmode';
const FLASH_OFF: ReadonlySet<string> = new Set(['off', 'flash off']);

function lookAtFlash(question: ReadinessQuestion): Finding | null {
  const { settings } = question;
  const body = who(question);
  const raised = isOn(settings, 'flashopen');
  const attached = isOn(settings, 'externalflash');
  const told = firstOf(settings, [FLASH_MODE]);
  if (told !== undefined && FLASH_OFF.has(told.label)) return fine('The flash is off.');
  if (raised === true) {
    return attention(
      `${body}'s flash is raised, and would light the frames unevenly: push it down, or turn it off.`,
    );
  }
  if (attached === true) {
    return attention(
      'A flash is attached, and would light the frames unevenly: turn it off, or take it off.',
    );
  }
  if (attached === false) return fine('No flash is ready to fire.');
  if (raised === false) return fine('The flash is down.');
  if (told?.readable !== true) return null;
  return attention(
    `The flash is set to ${told.shown}: if there is one, it would light the frames unevenly. Turn it off.`,
  );
}

const IN_MANUAL_NEVER = '(disabled in manual exposure)';

/** 0x0B. The codes that the library calls off end in 3; that `x3`, the bare number, is off as well is inferred. */
function brightening(question: ReadinessQuestion): Found | null {
  const told = firstOf(question.settings, ['alomode']);
  if (told === undefined) return null;
  const never = question.mode === 'manual' && told.label.endsWith(IN_MANUAL_NEVER);
  if (never || /^(?:off\b|x3$)/.test(told.label)) return off(question);
  return on(question, told);
}

/** 0x0A. */
function lighting(question: ReadinessQuestion): Found | null {
  const told = firstOf(question.settings, ['dlighting']);
  if (told === undefined) return null;
  return told.label === 'off' ? off(question) : on(question, told);
}

/** A style or a contrast that follows the scene; any that is fixed is the same for all frames. */
function changingStyle(question: ReadinessQuestion): Found | null {
  const told = toldOf(question.settings, ['picturestyle', 'tonecompensation']).find(
    ({ label }) => label === 'auto',
  );
  if (told === undefined) return null;
  return attention(
    `${who(question)} chooses a look for each JPEG (Auto), so the frames of a set would differ. Raw files are unaffected; for JPEG, choose a fixed one.`,
  );
}

function merging(question: ReadinessQuestion): Found | null {
  const switched = isOn(question.settings, 'hdrmode');
  if (switched === undefined) return null;
  if (!switched) return off(question);
  return stops(
    `${who(question)}'s own HDR mode is on: it merges several exposures into each frame. Turn it off, then fire again.`,
  );
}

const off = (question: ReadinessQuestion) => fine(`${who(question)} leaves the tones of a frame alone.`);
const on = (question: ReadinessQuestion, told: Told) =>
  attention(
    told.readable
      ? `${who(question)} brightens shadows itself (${told.shown}), differently in each frame. Raw files are unaffected; for JPEG, turn it off.`
      : `${who(question)} may brighten shadows itself, differently in each frame. Raw files are unaffected; for JPEG, make sure that it is off.`,
  );

const lookAtTone = (question: ReadinessQuestion): Finding | null =>
  gravest([merging(question), brightening(question), lighting(question), changingStyle(question)]);

const AUTOMATIC_BALANCE = /\bauto|\bawb\b/;

function lookAtWhiteBalance(question: ReadinessQuestion): Finding | null {
  const told = firstOf(question.settings, ['whitebalance']);
  if (told === undefined) return null;
  if (AUTOMATIC_BALANCE.test(told.label)) {
    return attention(
      `The white balance is automatic (${told.shown}), so frames may differ in colour. Raw files are unaffected; for JPEG, set a fixed one, such as daylight.`,
    );
  }
  if (!told.readable) {
    return attention(
      `Evenrung does not know ${who(question)}'s white balance (${told.shown}). Raw files are unaffected; for JPEG, make sure that it is a fixed one.`,
    );
  }
  return fine(`The white balance is fixed (${told.shown}).`);
}

export const MODE: Rule = { code: 'mode', look: lookAtMode };
export const FIXED_ISO: Rule = { code: 'iso', look: lookAtIso };
export const WHITE_BALANCE: Rule = { code: 'white-balance', look: lookAtWhiteBalance };
export const FLASH: Rule = { code: 'flash', look: lookAtFlash };
export const TONE: Rule = { code: 'tone', look: lookAtTone };
