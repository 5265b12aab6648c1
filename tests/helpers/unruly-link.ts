import { createServer, type IncomingMessage, request, type Server, type ServerResponse } from 'node:http';
import { setTimeout as pause } from 'node:timers/promises';

/** A request as a court sent it, to be sent again. */
export interface HeldRequest {
  readonly method: string;
  readonly path: string;
  readonly headers: Readonly<Record<string, string>>;
  readonly body: Buffer;
}

export interface UnrulyCounts {
  forwarded: number;
  /** Requests that the hub got though the court was told that they were lost, and gets again. */
  answersLost: number;
  /** Those that came only after the court had sent a later one. */
  late: number;
  /** Older ones that came a second time by themselves. */
  repeated: number;
  /** Refused while the link was cut. */
  cut: number;
}

/**
 * The network between a court and its hub: it can be cut, loses answers of requests that were carried out, brings requests late and a second
 * time, and turns to another process of the hub with each.
 */
export class UnrulyLink {
  readonly counts: UnrulyCounts = { forwarded: 0, answersLost: 0, late: 0, repeated: 0, cut: 0 };
  readonly held: HeldRequest[] = [];
  isCut = false;
  /** Shares of requests that something happens to; 0 for a quiet network. */
  unrest = 0.15;
  readonly #server: Server;
  readonly #ports: () => readonly number[];
  readonly #draw: () => number;
  readonly #late = new Set<Promise<unknown>>();

  private constructor(ports: () => readonly number[], draw: () => number) {
    this.#ports = ports;
    this.#draw = draw;
    this.#server = createServer((asked, answer) => {
      this.#take(asked, answer).catch(() => answer.destroy());
    });
  }

  /** @param ports of the processes of the hub. @param draw numbers from 0 to below 1. */
  static async open(ports: () => readonly number[], draw: () => number): Promise<UnrulyLink> {
    const link = new UnrulyLink(ports, draw);
    await new Promise<void>((resolve) => link.#server.listen(0, '127.0.0.1', resolve));
    return link;
  }

  get address(): string {
    const address = this.#server.address();
    return `http://127.0.0.1:${typeof address === 'object' && address !== null ? address.port : 0}/`;
  }

  /** Sends everything that was held again, in any order, until each was answered. */
  async sendAgain(requests: readonly HeldRequest[]): Promise<void> {
    const left = [...requests];
    const work = async (): Promise<void> => {
      for (let each = left.pop(); each; each = left.pop()) {
        while (!(await this.#send(each).catch(() => null))) await pause(100);
      }
    };
    await Promise.all([work(), work(), work()]);
  }

  async close(): Promise<void> {
    await Promise.all(this.#late);
    this.#server.closeAllConnections();
    await new Promise<void>((resolve) => this.#server.close(() => resolve()));
  }

  async #take(asked: IncomingMessage, answer: ServerResponse): Promise<void> {
    const parts: Buffer[] = [];
    for await (const part of asked) parts.push(part as Buffer);
    if (this.isCut) {
      this.counts.cut += 1;
      answer.destroy();
      return;
    }
    const { authorization = '', 'content-type': type } = asked.headers;
    const held = {
      ...{ method: asked.method ?? 'GET', path: asked.url ?? '/', body: Buffer.concat(parts) },
      headers: { authorization, ...(type !== undefined && { 'content-type': type }) },
    };
    const changes = held.method !== 'GET';
    if (changes) this.held.push(held);
    if (changes && this.#draw() < this.unrest) {
      this.counts.late += 1;
      this.#later(held, 50 + 1500 * this.#draw());
      answer.destroy();
      return;
    }
    const { status, type: answered, body } = await this.#send(held);
    this.counts.forwarded += 1;
    if (changes && this.#draw() < this.unrest) {
      this.counts.answersLost += 1;
      answer.destroy();
    } else {
      answer.writeHead(status, { 'content-type': answered });
      answer.end(body);
    }
    const older = this.held[Math.floor(this.#draw() * this.held.length)];
    if (older && this.#draw() < this.unrest) {
      this.counts.repeated += 1;
      this.#later(older, 500 * this.#draw());
    }
  }

  #later(held: HeldRequest, ms: number): void {
    const sent = pause(ms).then(() => this.#send(held).catch(() => null));
    this.#late.add(sent);
    void sent.then(() => this.#late.delete(sent));
  }

  #send({ method, path, headers, body }: HeldRequest): Promise<{ status: number; type: string; body: Buffer }> {
    const ports = this.#ports();
    const port = ports[Math.floor(this.#draw() * ports.length)];
    return new Promise((resolve, reject) => {
      const sent = request(
        {
          ...{ host: '127.0.0.1', port, method, path, agent: false, timeout: 30_000 },
          headers: { ...headers, host: `127.0.0.1:${port}`, 'content-length': body.length },
        },
        (response) => {
          const parts: Buffer[] = [];
          response.on('data', (part: Buffer) => parts.push(part));
          response.on('error', reject);
          response.on('end', () => {
            const type = response.headers['content-type'] ?? 'application/json';
            resolve({ status: response.statusCode ?? 500, type, body: Buffer.concat(parts) });
          });
        },
      );
      sent.on('timeout', () => sent.destroy(new Error('no answer')));
      sent.on('error', reject);
      sent.end(body);
    });
  }
}
