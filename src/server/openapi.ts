// The API as an OpenAPI 3.1 document, made from the table of routes and the schemas by which everything that
// crosses the wire is parsed. Pure: it knows no server.
import { z } from 'zod';
import about from '../../package.json' with { type: 'json' };
import { KEY_HEADER } from './idempotency.js';
import { API_ROUTES, type ApiRoute, GIVEN, TAKEN } from './routes.js';

type Json = { readonly [name: string]: unknown };

const refTo = (name: string): Json => ({ $ref: `#/components/schemas/${name}` });

/** @param io `input` describes requests as they may be written, `output` describes answers as they come */
function schemasOf(named: Readonly<Record<string, z.ZodType>>, io: 'input' | 'output'): Json {
  const registry = z.registry<{ id: string }>();
  for (const [id, schema] of Object.entries(named)) registry.add(schema, { id });
  const { schemas } = z.toJSONSchema(registry, {
    io,
    metadata: registry,
    uri: (id) => `#/components/schemas/${id}`,
  });
  return Object.fromEntries(
    Object.entries(schemas).map(([id, { $schema: _, $id: __, ...schema }]) => [id, schema]),
  );
}

const parametersOf = ({ path, query, isPress }: ApiRoute): Json[] => [
  ...[...path.matchAll(/\{(\w+)\}/g)].map(([, name]) => ({
    ...{ name, in: 'path', required: true },
    schema: name === 'frame' ? { type: 'integer', minimum: 1 } : { type: 'string' },
  })),
  ...Object.entries(query?.shape ?? {}).map(([name, schema]) => {
    const { $schema: _, ...shown } = z.toJSONSchema(schema as z.ZodType, { io: 'output' });
    return { name, in: 'query', required: false, schema: shown };
  }),
  ...(isPress ? [{ $ref: '#/components/parameters/IdempotencyKey' }] : []),
];

function operationOf(route: ApiRoute): Json {
  const { summary, needs, takes, takesOptional, status, gives, also = {} } = route;
  const content =
    typeof gives === 'string'
      ? { 'application/json': { schema: refTo(gives) } }
      : {
          [gives.media]: gives.media === 'image/jpeg' ? { schema: { type: 'string', format: 'binary' } } : {},
        };
  const parameters = parametersOf(route);
  return {
    summary,
    operationId: `${route.method}${route.path.replace(/^\/api/, '').replace(/\W+(\w)?/g, (_, first = '') => first.toUpperCase())}`,
    'x-needs': needs,
    security: needs === 'nothing' ? [] : [{}, { session: [] }],
    ...(parameters.length === 0 ? {} : { parameters }),
    ...(takes === undefined
      ? {}
      : {
          requestBody: {
            required: takesOptional !== true,
            content: { 'application/json': { schema: refTo(takes) } },
          },
        }),
    responses: {
      [status]: { description: summary, ...(status === 101 ? {} : { content }) },
      ...Object.fromEntries(Object.entries(also).map(([code, description]) => [code, { description }])),
      default: { $ref: '#/components/responses/Error' },
    },
  };
}

function pathsOf(routes: readonly ApiRoute[]): Json {
  const paths: Record<string, Record<string, Json>> = {};
  for (const route of routes) {
    const operations = paths[route.path] ?? {};
    operations[route.method] = operationOf(route);
    paths[route.path] = operations;
  }
  return paths;
}

export function openApi(): Json {
  return {
    openapi: '3.1.0',
    info: {
      title: 'Evenrung',
      version: about.version,
      description:
        'Bracketed sets from a tethered camera. On the computer that Evenrung runs on, nothing else is needed; from elsewhere, the session of a paired device is.',
    },
    paths: pathsOf(API_ROUTES),
    components: {
      schemas: { ...schemasOf(TAKEN, 'input'), ...schemasOf(GIVEN, 'output') },
      parameters: {
        IdempotencyKey: {
          ...{ name: KEY_HEADER, in: 'header', required: false },
          description:
            'A new UUID for each press. Sent again within ten minutes it gets the same answer, and nothing is done twice.',
          schema: { type: 'string', format: 'uuid' },
        },
      },
      responses: {
        Error: {
          description: 'What happened, and what to do now.',
          content: { 'application/json': { schema: refTo('ErrorAnswer') } },
        },
      },
      securitySchemes: { session: { type: 'apiKey', in: 'cookie', name: '__Host-evenrung' } },
    },
  };
}
