// The names of this computer on the network right now. They change: a phone may provide the network, and
// later another one.
import os from 'node:os';

/** @returns addresses by which others reach it, those of IPv4 first */
export function networkAddresses(): string[] {
  const found = Object.values(os.networkInterfaces())
    .flatMap((addresses) => addresses ?? [])
    // Addresses that are valid on one link only need the name of an interface, which no browser accepts.
    .filter(({ internal, address }) => !internal && !/^fe80:/i.test(address));
  const of = (family: string) => found.filter((one) => one.family === family).map(({ address }) => address);
  return [...new Set([...of('IPv4'), ...of('IPv6')])];
}

/** @returns its name, and the form of that name on networks without a name server */
export function hostNames(): string[] {
  const name = os.hostname().toLowerCase();
  if (!/^[a-z0-9-]+(?:\.[a-z0-9-]+)*$/.test(name)) return [];
  return name.includes('.') ? [name] : [name, `${name}.local`];
}

/** The name as it is written in an address. */
export const inAddress = (name: string): string => (name.includes(':') ? `[${name}]` : name);
