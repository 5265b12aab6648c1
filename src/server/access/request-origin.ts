/**
 * Which requests may come in at all, whoever sends them.
 *
 * A page from anywhere, open in the same browser, can send requests to a loopback address or to one in the same gym,
 * and a name server can make a foreign name point there (DNS rebinding). So every request, and every WebSocket
 * upgrade, must name this service as its host, and one that says which page it comes from must come from this
 * service's own page.
 */
export interface RequestFacts {
  /** Every Host header that came. */
  readonly hosts: readonly string[];
  /** The Origin header, if any. Browsers send it with every WebSocket and every request that can change something. */
  readonly origin: string | undefined;
  /** The Sec-Fetch-Site header, if any (W3C Fetch Metadata): browsers say with it where a request comes from. */
  readonly fetchSite: string | undefined;
  /** True for what only the page itself asks for; false for the page and its files, to which any link may lead. */
  readonly isApi: boolean;
  /** Port on which the request came in. */
  readonly port: number;
  /** How the service is reached. Default http. */
  readonly scheme?: 'http' | 'https';
  /** Names and addresses besides the loopback ones under which the service may be reached, lower case, no port. */
  readonly ownNames?: readonly string[];
}

/** @returns why the request is refused, or null when it may go on. */
export function refusalOf(request: RequestFacts): string | null {
  const { scheme = 'http', ownNames = [] } = request;
  const hosts = ownHosts(request.port, scheme, ownNames);
  const expected = `expected ${hosts.slice(0, 3).join(', ')}${ownNames.length > 0 ? ' or an address of this machine' : ''}`;
  const [host] = request.hosts;
  if (host === undefined || request.hosts.length > 1) {
    return `${expected} as the one Host of the request, got ${request.hosts.length} Host headers`;
  }
  if (!hosts.includes(host.toLowerCase())) return `${expected} as Host, got ${quote(host)}`;
  if (request.origin !== undefined && !hosts.some((own) => request.origin?.toLowerCase() === `${scheme}://${own}`)) {
    return `expected a request from this service's own page, got one from ${quote(request.origin)}`;
  }
  if (request.isApi && request.fetchSite !== undefined && !['same-origin', 'none'].includes(request.fetchSite)) {
    return `expected a request from this service's own page, got one from another site (${quote(request.fetchSite)})`;
  }
  return null;
}

const loopbackNames = ['127.0.0.1', 'localhost', '[::1]'];

/** @returns the Host headers that mean this service. */
function ownHosts(port: number, scheme: 'http' | 'https', ownNames: readonly string[]): string[] {
  const names = [...loopbackNames, ...ownNames];
  const withPort = names.map((name) => `${name}:${port}`);
  // Browsers leave out the port that their scheme has by itself.
  return port === (scheme === 'http' ? 80 : 443) ? [...withPort, ...names] : withPort;
}

function quote(text: string): string {
  return JSON.stringify(text.length > 80 ? `${text.slice(0, 80)}…` : text);
}
