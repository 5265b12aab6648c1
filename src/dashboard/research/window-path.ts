import type { SignalGroup } from '../../server/wire/signal-document.ts';
import type { ViewRange } from './view-range.ts';

/** @param streams places in the list of streams; all where it is empty. @returns the address of a stretch. */
export function windowPath(
  sessionId: string,
  { fromS, spanS }: ViewRange,
  columns: number,
  groups: readonly SignalGroup[],
  streams: readonly number[],
): string {
  const query = new URLSearchParams({
    fromS: String(fromS),
    untilS: String(fromS + spanS),
    columns: String(columns),
    groups: groups.join(','),
    ...(streams.length > 0 && { streams: streams.join(',') }),
  });
  return `/api/sessions/${encodeURIComponent(sessionId)}/signals/window?${query}`;
}
