import type { ComponentType } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import { texts } from '../texts.ts';

interface LaterProps<Props> {
  /** Loads what is not part of the first load. The same function each time. */
  readonly load: () => Promise<ComponentType<Props>>;
  readonly props: Props;
}

/** A screen that is loaded when it is opened. */
export function Later<Props extends object>({ load, props }: LaterProps<Props>) {
  const [Loaded, setLoaded] = useState<{ readonly screen: ComponentType<Props> } | null>(null);
  const [isBroken, setIsBroken] = useState(false);
  useEffect(() => {
    setIsBroken(false);
    load().then(
      (screen) => setLoaded({ screen }),
      () => setIsBroken(true),
    );
  }, [load]);
  if (isBroken) return <p class="stale">{texts.failed(texts.unreachable)}</p>;
  return Loaded === null ? <p role="status">{texts.loading}</p> : <Loaded.screen {...props} />;
}
