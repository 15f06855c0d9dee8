// The sender of a request, as far as routes have to know: whose keys count, and what a person calls them. The
// doors have let the visitor in already.
import type { FastifyRequest } from 'fastify';

export interface RequestVisitor {
  /**
   * Keys count separately for each visitor. Null if nobody can tell who it is: then keys count for nothing.
   */
  readonly key: string | null;
  /** The visitor's name, as a person would say it. */
  readonly name: string;
}

export const visitorOf = ({ visitor: { role, device, name } }: FastifyRequest): RequestVisitor => ({
  key: role === null ? null : (device ?? 'this-computer'),
  name,
});
