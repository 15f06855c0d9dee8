// Rules on whether the body lasts: its battery, and its habit of going to sleep.
import type { Settings } from '../link.js';
import { firstOf, isOn, type Told } from './labels.js';
import { attention, type Finding, fine, type ReadinessQuestion, type Rule, stops, who } from './question.js';

/** Common practice, no source: below this, a charged battery goes in before a set. */
const LOW_PERCENT = 30;
/** Common practice, no source: below this, bodies give up in the middle of something. */
export const EMPTY_PERCENT = 10;

/** Percent from 0 to 100; or `low`, if a body has only that word when the battery is nearly empty. */
export type Charge = number | 'low';

/** @returns null if a body tells no charge, or runs on a mains adapter */
export function batteryCharge(settings: Settings): Charge | null {
  if (isOn(settings, 'acpower') === true) return null;
  const told = firstOf(settings, ['batterylevel']);
  return told?.readable === true ? chargeOf(told) : null;
}

function chargeOf({ label }: Told): Charge | null {
  if (label === 'low') return label;
  const percent = Number(/^(\d{1,3})\s*%$/.exec(label)?.[1] ?? Number.NaN);
  return percent <= 100 ? percent : null;
}

function lookAtBattery(question: ReadinessQuestion): Finding | null {
  const { settings } = question;
  const body = who(question);
  if (isOn(settings, 'acpower') === true) return fine(`${body} runs on a mains adapter.`);
  const told = firstOf(settings, ['batterylevel']);
  if (told?.readable !== true) return null;
  const percent = chargeOf(told);
  if (percent === 'low') {
    return attention(`${body}'s battery is low. Put in a charged one before you fire.`);
  }
  if (percent === null) {
    return attention(`${body} reports its battery as ${told.shown}: make sure that it is charged.`);
  }
  // No body runs on nothing: from memory, this is what some say of a battery-shaped mains adapter.
  if (percent === 0) {
    return attention(
      `${body}'s battery reads 0 %. That is normal with a mains adapter; otherwise put in a charged one.`,
    );
  }
  const at = `${body}'s battery is at ${percent} %`;
  if (percent < EMPTY_PERCENT) {
    return stops(`${at}, and may run out during the set. Put in a charged one, then fire again.`);
  }
  return percent < LOW_PERCENT ? attention(`${at}. Put in a charged one before you fire.`) : fine(`${at}.`);
}

/** 0x0B tells a number, 0 for never; few bodies of 0x0A tell after how long their meter goes off, and they with it. */
const SLEEP_NAMES = ['autopoweroff', 'meterofftime'];
/** All bits set means never, too (from memory, no source). */
const NEVER: ReadonlySet<string> = new Set(['0', 'off', '65535', '4294967295']);

function lookAtSleep(question: ReadinessQuestion): Finding | null {
  const told = firstOf(question.settings, SLEEP_NAMES);
  if (told?.readable !== true) return null;
  if (NEVER.has(told.label)) return fine(`${who(question)} does not turn itself off.`);
  return attention(
    `${who(question)} turns itself off after a while (its setting is ${told.shown}), and may be off between sets. Change that in its menu.`,
  );
}

export const BATTERY: Rule = { code: 'battery', look: lookAtBattery };
export const POWER_OFF: Rule = { code: 'power-off', look: lookAtSleep };
