// The daemon's own certificate, made once and kept, so that a fingerprint which somebody has compared stays
// the same. No authority has signed it, so browsers ask once. It knows no requests.
import { createHash, createPrivateKey, X509Certificate } from 'node:crypto';
import { mkdir, readFile } from 'node:fs/promises';
import { isIP } from 'node:net';
import path from 'node:path';
import { EvenrungError } from '../../../shared/errors.js';
import { whyRefused } from '../../../shared/refused.js';
import { PRIVATE, writeWhole } from '../../system/index.js';

export interface Certificate {
  /** PEM. */
  readonly key: string;
  readonly cert: string;
  /** SHA-256 of the certificate, as browsers show it: `AB:CD:...`. */
  readonly fingerprint: string;
}

const DAY_MS = 24 * 3_600_000;
/** Some phones accept none that is valid for more than 825 days. From memory. */
const GOOD_FOR_DAYS = 800;
const RENEWED_BEFORE_MS = 30 * DAY_MS;

/**
 * @param names the addresses and host names that it is made out to, if it has to be made
 * @throws EvenrungError state-not-writable
 */
export async function ownCertificate(
  stateFolder: string,
  names: readonly string[],
  now: number,
): Promise<Certificate> {
  const folder = path.join(stateFolder, 'tls');
  const [keyFile, certFile] = [path.join(folder, 'key.pem'), path.join(folder, 'cert.pem')];
  const kept = await readKept(keyFile, certFile, now);
  if (kept !== null) return kept;
  const { key, cert } = await make(names, now);
  try {
    await mkdir(folder, { recursive: true, mode: 0o700 });
    await writeWhole(keyFile, key, PRIVATE);
    await writeWhole(certFile, cert, PRIVATE);
  } catch (cause) {
    throw new EvenrungError(
      'state-not-writable',
      `Evenrung's certificate cannot be written to ${folder}: ${whyRefused(cause)}.`,
    );
  }
  return { key, cert, fingerprint: fingerprintOf(cert) };
}

/** @returns null if there is none that can be used */
async function readKept(keyFile: string, certFile: string, now: number): Promise<Certificate | null> {
  try {
    const [key, cert] = await Promise.all([readFile(keyFile, 'utf8'), readFile(certFile, 'utf8')]);
    const certificate = new X509Certificate(cert);
    const isGood =
      Date.parse(certificate.validTo) - now > RENEWED_BEFORE_MS &&
      Date.parse(certificate.validFrom) <= now &&
      certificate.checkPrivateKey(createPrivateKey(key));
    return isGood ? { key, cert, fingerprint: fingerprintOf(cert) } : null;
  } catch {
    // Missing, or damaged: another one is made.
    return null;
  }
}

async function make(names: readonly string[], now: number): Promise<{ key: string; cert: string }> {
  // Loaded only if one has to be made.
  const { generate } = await import('selfsigned');
  const altNames = names.map((name) =>
    isIP(name) === 0 ? ({ type: 2, value: name } as const) : ({ type: 7, ip: name } as const),
  );
  const made = await generate([{ name: 'commonName', value: 'Evenrung' }], {
    keyType: 'ec',
    curve: 'P-256',
    algorithm: 'sha256',
    // A phone's clock may be behind.
    notBeforeDate: new Date(now - DAY_MS),
    notAfterDate: new Date(now + GOOD_FOR_DAYS * DAY_MS),
    extensions: [
      { name: 'basicConstraints', cA: false, critical: true },
      { name: 'keyUsage', digitalSignature: true, critical: true },
      { name: 'extKeyUsage', serverAuth: true },
      { name: 'subjectAltName', altNames },
    ],
  });
  return { key: made.private, cert: made.cert };
}

/**
 * SHA-256 of a certificate, as browsers show it: `AB:CD:...`.
 * @param pem the certificate
 */
export function fingerprintOf(pem: string): string {
  const digest = createHash('sha256').update(new X509Certificate(pem).raw).digest('hex');
  return (digest.toUpperCase().match(/../g) ?? []).join(':');
}
