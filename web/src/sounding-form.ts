// The proposal of a sounding, as it goes into the fields. Pure.
import { NO_EV, parseEv } from '../../shared/ev.js';
import type { Proposal } from '../../shared/sounding.js';
import { type RequestForm, reaching } from './request.js';

/** @returns the same with the set that is proposed */
export function asProposed(form: RequestForm, { from, to, step, base, mode }: Proposal['set']): RequestForm {
  const read = (ev: string) => parseEv(ev) ?? NO_EV;
  const stepped = { ...form, step: parseEv(step) ?? form.step, mode, byHand: null };
  return { ...reaching(stepped, { from: read(from), to: read(to) }), base: base ?? form.base };
}
