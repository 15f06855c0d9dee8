// The messages of the WebSocket stream at /api/stream, both ways. Text frames, one JSON object each.
import { z } from 'zod';
import { daemonStateSchema, eventSchema } from './state.js';

/**
 * The first message of a watcher. `after` is the number of the last event that it saw: if the daemon still
 * has all events since then, it sends just those; otherwise the whole state.
 */
export const watcherMessageSchema = z
  .strictObject({
    type: z.literal('hello'),
    after: z.number().int().nonnegative().optional(),
    /** The daemon's `epoch` in which `after` was counted: each daemon numbers from the beginning. */
    epoch: z.string().max(64).optional(),
  })
  .meta({ id: 'WatcherMessage' });
export type WatcherMessage = z.infer<typeof watcherMessageSchema>;

export const daemonMessageSchema = z
  .discriminatedUnion('type', [
    z.strictObject({
      type: z.literal('state'),
      epoch: z.string(),
      /** The number of the last event that this state holds. */
      seq: z.number().int(),
      state: daemonStateSchema,
    }),
    z.strictObject({ type: z.literal('event'), event: eventSchema }),
    z.strictObject({ type: z.literal('error'), code: z.string(), message: z.string() }),
  ])
  .meta({ id: 'DaemonMessage' });
export type DaemonMessage = z.infer<typeof daemonMessageSchema>;

/** Every error answer over HTTP, and with `--json` on the command line. */
export const errorAnswerSchema = z
  .looseObject({ error: z.looseObject({ code: z.string(), message: z.string() }) })
  .meta({ id: 'ErrorAnswer' });
