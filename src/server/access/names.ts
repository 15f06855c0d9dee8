// What this computer goes by on the network just now. It changes: a phone may be the network, and then be another one.
import os from 'node:os';

/** @returns addresses that others reach it by, those of IPv4 first */
export function networkAddresses(): string[] {
  const found = Object.values(os.networkInterfaces())
    .flatMap((addresses) => addresses ?? [])
    // Addresses of one link alone need the name of an interface, which no browser takes.
    .filter(({ internal, address }) => !internal && !/^fe80:/i.test(address));
  const of = (family: string) => found.filter((one) => one.family === family).map(({ address }) => address);
  return [...new Set([...of('IPv4'), ...of('IPv6')])];
}

/** @returns its name, and that name as networks without a name server have it */
export function hostNames(): string[] {
  const name = os.hostname().toLowerCase();
  if (!/^[a-z0-9-]+(?:\.[a-z0-9-]+)*$/.test(name)) return [];
  return name.includes('.') ? [name] : [name, `${name}.local`];
}

/** As it stands in an address. */
export const inAddress = (name: string): string => (name.includes(':') ? `[${name}]` : name);
