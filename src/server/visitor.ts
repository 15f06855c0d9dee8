// Who sends a request, as far as routes have to know: whose keys count, and what a person calls them. The doors have let it in.
import type { FastifyRequest } from 'fastify';

export interface RequestVisitor {
  /** Keys of one visitor are nothing to another; null where nobody can tell who it is: then keys count for nothing. */
  readonly key: string | null;
  /** As a person would name them. */
  readonly name: string;
}

export const visitorOf = ({ visitor: { role, device, name } }: FastifyRequest): RequestVisitor => ({
  key: role === null ? null : (device ?? 'this-computer'),
  name,
});
