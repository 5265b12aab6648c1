import { useEffect, useState } from 'preact/hooks';
import { ask } from '../api.ts';
import { hrefOf } from '../route.ts';
import { texts } from '../texts.ts';

type Answered = { readonly state: 'paired' } | { readonly state: 'wait'; readonly ticket: string };
type Shown =
  | { readonly is: 'form'; readonly trouble: string | null }
  | { readonly is: 'wait'; readonly ticket: string }
  | { readonly is: 'done' };

const askAgainMs = 1000;

/** Where a device of the network names the code that lets it in. */
export function PairScreen({ code }: { readonly code: string | null }) {
  const [shown, setShown] = useState<Shown>({ is: 'form', trouble: null });
  const [typed, setTyped] = useState({ code: code ?? '', deviceName: texts.pair.suggestedName as string });
  const take = (answer: Awaited<ReturnType<typeof ask<Answered>>>): void => {
    if (!answer.ok) setShown({ is: 'form', trouble: texts.failed(answer.message) });
    else if (answer.value.state === 'wait') setShown({ is: 'wait', ticket: answer.value.ticket });
    else setShown({ is: 'done' });
  };
  useEffect(() => {
    if (shown.is !== 'wait') return;
    const timer = setTimeout(
      async () => take(await ask<Answered>('POST', '/api/access/pair/wait', { ticket: shown.ticket })),
      askAgainMs,
    );
    return () => clearTimeout(timer);
  }, [shown]);
  const send = async (event: Event): Promise<void> => {
    event.preventDefault();
    take(await ask<Answered>('POST', '/api/access/pair', typed));
  };
  return (
    <section class="pair form" aria-labelledby="pair-title">
      <h2 id="pair-title">{texts.pair.title}</h2>
      {shown.is === 'form' && (
        <form onSubmit={send}>
          <label>
            {texts.pair.code}
            <input
              name="code"
              inputMode="numeric"
              autoComplete="one-time-code"
              pattern="[0-9]{6}"
              maxLength={6}
              required
              value={typed.code}
              onInput={(event) => setTyped({ ...typed, code: event.currentTarget.value })}
            />
          </label>
          <label>
            {texts.pair.name}
            <input
              name="device-name"
              maxLength={60}
              required
              value={typed.deviceName}
              onInput={(event) => setTyped({ ...typed, deviceName: event.currentTarget.value })}
            />
          </label>
          <button type="submit" class="wide">
            {texts.pair.send}
          </button>
          <p role="alert" class="stale">
            {shown.trouble ?? ''}
          </p>
        </form>
      )}
      {shown.is === 'wait' && <p role="status">{texts.pair.wait}</p>}
      {shown.is === 'done' && (
        <p role="status">
          {texts.pair.done} <a href={hrefOf('court')}>{texts.pair.toShots}</a>
        </p>
      )}
    </section>
  );
}
