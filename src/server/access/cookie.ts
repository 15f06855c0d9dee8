// The cookie of a paired device. Pure.

/** `__Host-`: the browser accepts it only over TLS, from this very host, and for all of its paths. */
const SECURE_NAME = '__Host-evenrung';
const PLAIN_NAME = 'evenrung';
/** A cookie is valid for longer than a device may stay away. */
const SECONDS = 60 * 24 * 3600;
const LONGEST = 200;

export const cookieName = (isSecure: boolean): string => (isSecure ? SECURE_NAME : PLAIN_NAME);

/** @returns a Set-Cookie header */
export function writtenCookie(token: string, isSecure: boolean): string {
  const secure = isSecure ? '; Secure' : '';
  return `${cookieName(isSecure)}=${token}; Path=/; Max-Age=${SECONDS}; HttpOnly${secure}; SameSite=Strict`;
}

/** @returns the content of the cookie of that name; null if there is none, or more than one */
export function cookieIn(header: string | undefined, isSecure: boolean): string | null {
  if (header === undefined) return null;
  const start = `${cookieName(isSecure)}=`;
  const held = header
    .split(';')
    .map((one) => one.trim())
    .filter((one) => one.startsWith(start))
    .map((one) => one.slice(start.length));
  const [value, ...others] = held;
  return value === undefined || others.length > 0 || value.length > LONGEST ? null : value;
}
