import { texts } from './texts.ts';

export type Answer<Value> =
  | { readonly ok: true; readonly status: number; readonly value: Value }
  /** `message` is a sentence for the user; the status is 0 where nobody answered. */
  | { readonly ok: false; readonly status: number; readonly message: string };

/** Asks the service. Never throws: what goes wrong is an answer too. */
export async function ask<Value>(
  method: 'GET' | 'POST' | 'PUT' | 'PATCH' | 'DELETE',
  path: string,
  body?: unknown,
): Promise<Answer<Value>> {
  try {
    const response = await fetch(path, {
      method,
      ...(body === undefined ? {} : { body: JSON.stringify(body), headers: { 'content-type': 'application/json' } }),
    });
    const { status } = response;
    const text = await response.text();
    const value: unknown = text === '' ? null : JSON.parse(text);
    if (response.ok) return { ok: true, status, value: value as Value };
    const { message } = (value ?? {}) as { readonly message?: unknown };
    return { ok: false, status, message: typeof message === 'string' ? message : texts.unreachable };
  } catch {
    return { ok: false, status: 0, message: texts.unreachable };
  }
}
