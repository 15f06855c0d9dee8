// Additive exposure arithmetic (APEX). Values are plain numbers in EV; EV 0 is f/1 at 1 s (ISO 2720:1974; ANSI PH2.5-1960).

/** Reflected-light meter constant in cd/m2 at ISO 100; ISO 2720 allows 10.6 to 13.4, 12.5 is in common use. */
export const METER_CONSTANT_K = 12.5;

/** @param fNumber N, above 0 @returns Av = 2 log2(N) */
export const apertureValue = (fNumber: number): number => 2 * Math.log2(fNumber);

/** @param seconds t, above 0 @returns Tv = -log2(t / 1 s) */
export const timeValue = (seconds: number): number => -Math.log2(seconds);

/** @param iso arithmetic film speed, above 0 @returns Sv = log2(S / 3.125) (APEX; Exif 2.32, annex C: ISO 100 is Sv 5) */
export const speedValue = (iso: number): number => Math.log2(iso / 3.125);

/** @returns EV = Av + Tv = log2(N^2 / t) */
export const exposureValue = (fNumber: number, seconds: number): number =>
  apertureValue(fNumber) + timeValue(seconds);

/** @returns Bv = Av + Tv - Sv: the brightness for which this exposure is right */
export const brightnessValue = (fNumber: number, seconds: number, iso: number): number =>
  exposureValue(fNumber, seconds) - speedValue(iso);

/** @param luminance L in cd/m2, above 0 @returns EV at ISO 100, log2(L * 100 / K) (ISO 2720) */
export const exposureValueOfLuminance = (luminance: number): number =>
  Math.log2((luminance * 100) / METER_CONSTANT_K);

/** @param ev100 EV at ISO 100 @returns L in cd/m2, 2^EV * K / 100 */
export const luminanceOfExposureValue = (ev100: number): number => (2 ** ev100 * METER_CONSTANT_K) / 100;
