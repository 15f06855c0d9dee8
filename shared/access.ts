// Who is paired, as it crosses the wire.
import { z } from 'zod';

/** `fire` may do all that the panel can; `watch` may look on. */
export const roleSchema = z.enum(['fire', 'watch']).meta({ id: 'Role' });
export type Role = z.infer<typeof roleSchema>;

/**
 * The name of a device as others are told it: it must fit on a line, and contain nothing that controls a
 * terminal.
 */
export const deviceNameSchema = z
  .string()
  .trim()
  .min(1)
  .max(40)
  .regex(/^[^\p{C}\p{Zl}\p{Zp}]+$/u, 'it holds characters that cannot be shown');

export const pairRequestSchema = z
  .strictObject({ secret: z.string().min(1).max(64), name: deviceNameSchema })
  .meta({ id: 'PairRequest' });
export type PairRequest = z.infer<typeof pairRequestSchema>;

/** Who the daemon takes the one who asks for. `door`: this computer, or the network. */
export const meSchema = z
  .strictObject({
    role: roleSchema,
    name: z.string(),
    door: z.enum(['here', 'network']),
  })
  .meta({ id: 'Me' });
export type Me = z.infer<typeof meSchema>;

export const deviceSchema = z
  .strictObject({
    id: z.string(),
    name: z.string(),
    role: roleSchema,
    created: z.iso.datetime(),
    lastSeen: z.iso.datetime(),
  })
  .meta({ id: 'Device' });
export type Device = z.infer<typeof deviceSchema>;

export const devicesSchema = z
  .strictObject({
    devices: z.array(deviceSchema),
    /** The address at which devices reach the daemon; null if it listens on this computer only. */
    network: z
      .strictObject({
        addresses: z.array(z.string()),
        /** SHA-256 of the certificate; null if the door has none. */
        fingerprint: z.string().nullable(),
      })
      .nullable(),
  })
  .meta({ id: 'Devices' });
export type DevicesAnswer = z.infer<typeof devicesSchema>;

export const newPairingSchema = z.strictObject({ role: roleSchema }).meta({ id: 'NewPairing' });

export const pairingSchema = z
  .strictObject({
    id: z.string(),
    /** Of the panel, for the device. */
    address: z.string(),
    /** The content of the code: the address, with the secret behind the #. */
    link: z.string(),
    secret: z.string(),
    role: roleSchema,
    expiresAt: z.iso.datetime(),
    fingerprint: z.string().nullable(),
    /** Path of the code as a picture. */
    qr: z.string(),
  })
  .meta({ id: 'Pairing' });
export type PairingAnswer = z.infer<typeof pairingSchema>;

/** The part of a pairing address behind the #. */
export const PAIR_FRAGMENT = '#pair=';
