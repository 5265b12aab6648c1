import type { TSchema } from 'typebox';
import { Check } from 'typebox/value';
import type { HandedDocument } from '../../sessions/hub/handed-tables.ts';
import {
  courtSchema,
  type HandOverAnswer,
  handOverAnswer,
  recordingState,
  type ToldDocuments,
  toldDocuments,
  type WireRecordingState,
} from '../wire/hub-document.ts';

/** Where the hub is, and how it knows this court. */
export interface HubAccess {
  /** Such as `https://hub.example/`. */
  readonly address: string;
  readonly key: string;
}

/** The hub cannot be reached or does not do its work now: to be tried again. */
export class HubAwayError extends Error {}

/** The hub says no, and will say so again. */
export class HubRefusalError extends Error {
  readonly status: number;

  constructor(status: number, message: string) {
    super(message);
    this.status = status;
  }
}

const answerMs = 30_000;

/** Asks the hub. Every call throws `HubAwayError` or `HubRefusalError`. */
export class HubClient {
  readonly #access: HubAccess;
  readonly #ending = new AbortController();

  constructor(access: HubAccess) {
    this.#access = access;
  }

  async court(): Promise<{ readonly id: string; readonly name: string }> {
    return (await this.#ask('GET', 'api/hub/court', courtSchema)) as { id: string; name: string };
  }

  async handOver(documents: readonly HandedDocument[]): Promise<HandOverAnswer['results']> {
    const answer = await this.#ask('POST', 'api/hub/documents', handOverAnswer, json({ documents }));
    return (answer as HandOverAnswer).results;
  }

  async told(after: number): Promise<ToldDocuments> {
    return (await this.#ask('GET', `api/hub/documents?after=${after}`, toldDocuments)) as unknown as ToldDocuments;
  }

  async announce(
    sessionId: string,
    announced: { readonly byteCount: number; readonly pieceBytes: number; readonly checksum: string },
  ): Promise<WireRecordingState> {
    return (await this.#ask(
      'PUT',
      `api/hub/recordings/${sessionId}`,
      recordingState,
      json(announced),
    )) as WireRecordingState;
  }

  async sendPiece(sessionId: string, place: number, checksum: string, piece: Uint8Array): Promise<WireRecordingState> {
    const path = `api/hub/recordings/${sessionId}/pieces/${place}?checksum=${checksum}`;
    const body = { type: 'application/octet-stream', bytes: piece };
    return (await this.#ask('PUT', path, recordingState, body)) as WireRecordingState;
  }

  /** Breaks off what is being asked, for good. */
  close(): void {
    this.#ending.abort();
  }

  async #ask(
    method: 'GET' | 'POST' | 'PUT',
    path: string,
    expected: TSchema,
    body?: { readonly type: string; readonly bytes: Uint8Array | string },
  ): Promise<unknown> {
    const { address, key } = this.#access;
    let response: Response;
    let text: string;
    try {
      response = await fetch(new URL(path, address), {
        method,
        headers: { authorization: `Bearer ${key}`, ...(body && { 'content-type': body.type }) },
        ...(body && { body: body.bytes as NonNullable<RequestInit['body']> }),
        // A hub does not send its courts elsewhere; whoever would must not have the key.
        redirect: 'error',
        signal: AbortSignal.any([this.#ending.signal, AbortSignal.timeout(answerMs)]),
      });
      text = await response.text();
    } catch (error) {
      throw new HubAwayError(`the hub at ${address} does not answer: ${whyOf(error)}`);
    }
    if (response.ok) {
      const answer = parsed(text);
      if (Check(expected, answer)) return answer;
      throw new HubAwayError(`${address} answers otherwise than a hub of this version: look whether it is one`);
    }
    const message = (parsed(text) as { message?: unknown } | null)?.message;
    const said = `the hub at ${address} says: ${typeof message === 'string' ? message : `status ${response.status}`}`;
    const isAway = response.status >= 500 || response.status === 429 || response.status === 408;
    throw isAway ? new HubAwayError(said) : new HubRefusalError(response.status, said);
  }
}

function json(value: unknown): { readonly type: string; readonly bytes: string } {
  return { type: 'application/json', bytes: JSON.stringify(value) };
}

function parsed(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return null;
  }
}

/** What lies behind "fetch failed". */
function whyOf(error: unknown): string {
  const { cause } = error as { cause?: unknown };
  if (cause instanceof Error && cause.message) return cause.message;
  return error instanceof Error ? error.message : String(error);
}
