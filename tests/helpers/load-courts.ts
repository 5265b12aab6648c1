/**
 * Runs many courts as far as their hub sees of them: each with a key and a connection of its own, a shot every so often, handed over as the
 * uploader does, with what the hub has to tell asked for after each. What was not answered is sent again. The parent says when to begin.
 */
import http from 'node:http';
import { setTimeout as pause } from 'node:timers/promises';
import type { HandedDocument } from '../../src/sessions/hub/handed-tables.ts';
import { madeShot } from '../server/made-shots.ts';

export interface LoadOrder {
  readonly courts: readonly { readonly key: string; readonly url: string; readonly name: string }[];
  readonly playerIds: readonly string[];
  readonly everyS: number;
  /** Courts come in one after the other over this time, before the first shot. */
  readonly rampS: number;
  readonly lastsS: number;
  /** Host time at which it begins, s. */
  readonly nowS: number;
}

export interface LoadReport {
  readonly shots: number;
  /** Requests that were not answered with success, and sent again. */
  readonly failed: number;
  readonly refused: readonly string[];
  readonly cpuS: number;
}

const shotJson = JSON.stringify(madeShot(3));

class LoadCourt {
  shots = 0;
  failed = 0;
  readonly refused: string[] = [];
  readonly #index: number;
  readonly #agent = new http.Agent({ keepAlive: true, maxSockets: 1 });
  readonly #outbox: HandedDocument[] = [];
  readonly #url: URL;
  readonly #key: string;
  readonly #order: LoadOrder;
  readonly #sessionId: string;
  readonly #sensorId: string;
  #told = 0;
  #seq = 0;
  #sending: Promise<void> | null = null;

  constructor(index: number, order: LoadOrder) {
    const { key, url, name } = order.courts[index] as LoadOrder['courts'][number];
    this.#index = index;
    this.#order = order;
    this.#url = new URL(url);
    this.#key = key;
    this.#sessionId = `load-session-${index}`;
    this.#sensorId = index.toString(16).padStart(32, '0');
    const { nowS } = order;
    this.#add('sensor', this.#sensorId, {
      ...{ id: this.#sensorId, label: '', placement: 'ball', owner_player_id: null, description: '00' },
      ...{ first_seen_s: nowS, last_seen_s: nowS },
    });
    this.#add('session', this.#sessionId, {
      ...{ id: this.#sessionId, name, started_s: nowS, ended_s: null, time_zone: 'UTC', simulated: 0, starred: 0 },
      ...{ recording: null, notes: '', settings: '{}', analysed_version: null, recording_deleted_s: null },
    });
  }

  /** Comes in, shoots until the time is over, and hands over what is left. */
  async play(startMs: number, untilMs: number): Promise<void> {
    const { everyS, rampS, courts } = this.#order;
    const phaseMs = ((this.#index * 0.618_034) % 1) * everyS * 1000;
    await pause((1000 * rampS * this.#index) / courts.length);
    await this.#handOver();
    for (let k = 0; ; k++) {
      const atMs = startMs + phaseMs + k * everyS * 1000;
      if (atMs >= untilMs) break;
      await pause(Math.max(0, atMs - performance.now()));
      this.#shoot();
      this.#sending ??= this.#handOver().finally(() => {
        this.#sending = null;
      });
    }
    while (this.#outbox.length > 0) await (this.#sending ?? this.#handOver());
    await this.#sending;
    this.#agent.destroy();
  }

  #shoot(): void {
    const { nowS, playerIds } = this.#order;
    const index = this.shots++;
    // The name says when it was final, ns, by the clock that all processes of a machine share.
    const told_id = `load.${this.#index}.${index}.${process.hrtime.bigint()}`;
    const id = `load-shot-${this.#index}-${index}`;
    const atS = nowS + performance.now() / 1000;
    const head = { v: 1, kind: 'shot', shotId: told_id, runId: `load-${this.#index}`, sensorId: this.#sensorId };
    const place = { streamIndex: 0, at: new Date(atS * 1000).toISOString(), hostTimeS: atS, simulated: false };
    const row = {
      ...{ id, session_id: this.#sessionId, set_id: null, sensor_id: this.#sensorId, stream_index: 0 },
      ...{ player_id: playerIds[this.#index % playerIds.length] ?? null, shot_index: index, at_s: atS },
      ...{ outcome: 'unknown', miss_side: null, notes: '', told_seq: index + 1, told_id },
      told_head: JSON.stringify({ ...head, ...place }),
    };
    const result = {
      ...{ id: `load-result-${this.#index}-${index}`, shot_id: id, is_current: 1, analysis_version: '1' },
      ...{ parameters: '{}', created_s: atS, start_kind: 'dribble', contact_kind: 'ring', document: shotJson },
    };
    this.#add('shot', id, row, { shot_result: [result], time_correction: [] });
  }

  #add(
    entity: HandedDocument['entity'],
    id: string,
    row: HandedDocument['row'],
    parts: HandedDocument['parts'] = {},
  ): void {
    this.#seq += 1;
    this.#outbox.push({ entity, id, seq: this.#seq, row, parts });
  }

  async #handOver(): Promise<void> {
    for (let retryMs = 1000; this.#outbox.length > 0; ) {
      const documents = this.#outbox.slice(0, 60);
      try {
        const answer = await this.#ask('POST', 'api/hub/documents', JSON.stringify({ documents }));
        const { results } = JSON.parse(answer) as { results: { state: string; reason?: string }[] };
        for (const { state, reason } of results) if (state !== 'taken') this.refused.push(reason ?? state);
        this.#outbox.splice(0, documents.length);
        const told = JSON.parse(await this.#ask('GET', `api/hub/documents?after=${this.#told}`)) as { upTo: number };
        this.#told = told.upTo;
      } catch {
        this.failed += 1;
        await pause(retryMs);
        retryMs = Math.min(60_000, 2 * retryMs);
      }
    }
  }

  #ask(method: string, path: string, body?: string): Promise<string> {
    return new Promise((resolve, reject) => {
      const { hostname, port } = this.#url;
      const headers = {
        authorization: `Bearer ${this.#key}`,
        ...(body !== undefined && { 'content-type': 'application/json', 'content-length': Buffer.byteLength(body) }),
      };
      const words = { agent: this.#agent, hostname, port, path: `/${path}`, method, headers, timeout: 30_000 };
      const sent = http.request(words, (response) => {
        const parts: Buffer[] = [];
        response.on('data', (part: Buffer) => parts.push(part));
        response.on('error', reject);
        response.on('end', () => {
          const text = Buffer.concat(parts).toString();
          if (response.statusCode === 200) resolve(text);
          else reject(new Error(`${response.statusCode}: ${text.slice(0, 200)}`));
        });
      });
      sent.on('timeout', () => sent.destroy(new Error('no answer')));
      sent.on('error', reject);
      sent.end(body);
    });
  }
}

async function run(order: LoadOrder): Promise<void> {
  const courts = order.courts.map((_, index) => new LoadCourt(index, order));
  const startMs = performance.now() + order.rampS * 1000;
  const untilMs = startMs + order.lastsS * 1000;
  await Promise.all(courts.map((court) => court.play(startMs, untilMs)));
  const sum = (of: (court: LoadCourt) => number) => courts.reduce((total, court) => total + of(court), 0);
  const { user, system } = process.cpuUsage();
  const report: LoadReport = {
    ...{ shots: sum(({ shots }) => shots), failed: sum(({ failed }) => failed), cpuS: (user + system) / 1e6 },
    refused: courts.flatMap(({ refused }) => refused).slice(0, 20),
  };
  process.send?.(report);
}

process.on('message', (order: LoadOrder) => void run(order));
process.send?.('ready');
