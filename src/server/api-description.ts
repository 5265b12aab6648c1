import fastifySwagger from '@fastify/swagger';
import fastifySwaggerUi from '@fastify/swagger-ui';
import type { FastifyInstance } from 'fastify';

/** As strict as for the rest, but for the styles that this page sets by script. */
const policy = [
  "default-src 'none'",
  "script-src 'self'",
  "style-src 'self' 'unsafe-inline'",
  "img-src 'self' data:",
  "connect-src 'self'",
  "base-uri 'none'",
  "form-action 'none'",
  "frame-ancestors 'none'",
].join('; ');

const logo =
  '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 220 40"><text x="4" y="29" fill="#fff" ' +
  'font-family="system-ui, sans-serif" font-size="26">Seamwise</text></svg>';

export const apiPage = '/api/documentation';

/**
 * Adds the OpenAPI 3.1 description of every route added afterwards: `GET /api/openapi.json`, and a page that shows it.
 *
 * @param version of the program.
 */
export async function addApiDescription(server: FastifyInstance, version: string): Promise<void> {
  await server.register(fastifySwagger, {
    openapi: {
      openapi: '3.1.0',
      info: {
        title: 'Seamwise',
        version,
        description:
          'What the page of the service uses. Numbers are SI unless the end of their name says otherwise; a number that ' +
          'cannot be known is null with a reason. Devices of the network come in by the cookie that pairing gives; x-role ' +
          'says who may use a route: anyone, or a viewer, player, coach or the host, each with what those before it may; or a court alone, ' +
          'which shows the key that its hub gave it.',
        license: { name: 'Apache-2.0', identifier: 'Apache-2.0' },
      },
      servers: [{ url: '/' }],
      components: {
        securitySchemes: {
          pairedDevice: { type: 'apiKey', in: 'cookie', name: 'seamwise_device' },
          courtKey: { type: 'http', scheme: 'bearer' },
        },
      },
    },
    // The page's own files are no part of it. Who may use a route stands with it.
    transform: ({ schema, url, route }) => {
      const role = route.config?.access;
      const told = { ...schema, hide: schema?.hide === true || !url.startsWith('/api/') };
      return { schema: role === undefined ? told : { ...told, 'x-role': role }, url };
    },
  });
  server.get('/api/openapi.json', { config: { access: 'viewer' }, schema: { hide: true } }, async () =>
    server.swagger(),
  );
  await server.register(async (scope) => {
    scope.addHook('onRoute', (route) => {
      route.config = { ...route.config, access: 'viewer' };
    });
    await scope.register(fastifySwaggerUi, {
      routePrefix: apiPage,
      staticCSP: true,
      transformStaticCSP: () => policy,
      logo: { type: 'image/svg+xml', content: Buffer.from(logo) },
      theme: { title: 'Seamwise: requests and answers', favicon: [] },
      uiConfig: { docExpansion: 'list', deepLinking: false, validatorUrl: null },
    });
  });
}
