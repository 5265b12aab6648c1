import { useEffect, useState } from 'preact/hooks';
import type {
  CalibrationDocument,
  FirstMinuteDocument,
  SensorGoneDocument,
} from '../../server/wire/calibration-document.ts';
import { texts } from '../texts.ts';

export type GuideDocument = FirstMinuteDocument | CalibrationDocument | SensorGoneDocument;

/**
 * Follows a guide of the service while a sensor is named.
 *
 * @param turn another number begins anew.
 * @returns the last document of the kind asked for, and why the guide ended, if it did.
 */
export function useGuide<Kind extends 'first-minute' | 'calibration'>(
  kind: Kind,
  sensorId: string | null,
  turn: number,
): { readonly last: Extract<GuideDocument, { kind: Kind }> | null; readonly gone: string | null } {
  const [last, setLast] = useState<Extract<GuideDocument, { kind: Kind }> | null>(null);
  const [gone, setGone] = useState<string | null>(null);
  useEffect(() => {
    setLast(null);
    setGone(null);
    if (sensorId === null) return;
    const url = new URL(`/api/sensors/${encodeURIComponent(sensorId)}/${kind}`, window.location.href);
    url.protocol = url.protocol === 'https:' ? 'wss:' : 'ws:';
    const socket = new WebSocket(url);
    let isOver = false;
    socket.onmessage = ({ data }) => {
      const document = JSON.parse(String(data)) as GuideDocument;
      if (document.kind === 'gone') {
        isOver = true;
        setGone(document.why);
      } else if (document.kind === kind) {
        isOver = document.step === 'done' && !('kept' in document && document.kept === null);
        setLast(document as Extract<GuideDocument, { kind: Kind }>);
      }
    };
    socket.onclose = () => {
      if (!isOver) setGone(texts.unreachable);
    };
    return () => {
      isOver = true;
      socket.close();
    };
  }, [kind, sensorId, turn]);
  return { last, gone };
}
