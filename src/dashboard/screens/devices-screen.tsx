import { useEffect, useState } from 'preact/hooks';
import type { DeskDocument, DevicesDocument } from '../../server/wire/access-document.ts';
import { ask } from '../api.ts';
import { shownDate } from '../clock-time.ts';
import { texts } from '../texts.ts';

const refreshMs = 1000;
const roles = ['viewer', 'player', 'coach'] as const;

type Known =
  | { readonly is: 'loading' }
  | { readonly is: 'closed'; readonly why: string }
  | { readonly is: 'open'; readonly desk: DeskDocument; readonly devices: DevicesDocument['devices'] };

/** Where the host lets devices of the network in and out. */
export function DevicesScreen() {
  const [known, setKnown] = useState<Known>({ is: 'loading' });
  const [trouble, setTrouble] = useState<string | null>(null);
  const refresh = async (): Promise<void> => setKnown(await readState());
  useEffect(() => {
    void refresh();
    const timer = setInterval(() => void refresh(), refreshMs);
    return () => clearInterval(timer);
  }, []);
  const act = async (method: 'POST' | 'DELETE', path: string, body?: unknown): Promise<void> => {
    const answer = await ask(method, path, body);
    setTrouble(answer.ok ? null : texts.failed(answer.message));
    await refresh();
  };
  return (
    <section class="devices form" aria-labelledby="devices-title">
      <h2 id="devices-title">{texts.devices.title}</h2>
      {trouble !== null && (
        <p role="alert" class="stale">
          {trouble}
        </p>
      )}
      {known.is === 'closed' && <p>{known.why}</p>}
      {known.is === 'open' && (
        <>
          <Desk desk={known.desk} act={act} />
          {window.location.protocol === 'http:' && <p class="note">{texts.devices.plainHttp}</p>}
          <p class="note">{texts.devices.care}</p>
          <h3>{texts.devices.list}</h3>
          {known.devices.length === 0 ? (
            <p>{texts.devices.nobody}</p>
          ) : (
            <DeviceTable devices={known.devices} act={act} />
          )}
        </>
      )}
    </section>
  );
}

type Act = (method: 'POST' | 'DELETE', path: string, body?: unknown) => Promise<void>;

function Desk({ desk, act }: { readonly desk: DeskDocument; readonly act: Act }) {
  if (desk.state === 'open') {
    const leftS = Math.max(0, Math.round(desk.endsAtS - Date.now() / 1000));
    return (
      <div class="desk">
        {desk.url !== null && <img class="qr" alt="" src={`/api/access/pairing/code.svg?of=${desk.endsAtS}`} />}
        <div>
          <p>{texts.devices.openOn(desk.url ?? '')}</p>
          <p class="pair-code">
            <span class="unseen">{texts.devices.code}</span> {desk.code}
          </p>
          <p>{texts.devices.ends(leftS, desk.triesLeft)}</p>
          <button type="button" class="wide" onClick={() => void act('DELETE', '/api/access/pairing')}>
            {texts.devices.cancel}
          </button>
        </div>
      </div>
    );
  }
  if (desk.state === 'asked') {
    return (
      <div class="desk" role="alertdialog" aria-labelledby="asks">
        <div>
          <p id="asks">{texts.devices.asks(desk.deviceName)}</p>
          <button
            type="button"
            class="wide"
            onClick={() => void act('POST', '/api/access/pairing/confirm', { agrees: true })}
          >
            {texts.devices.agree}
          </button>
          <button
            type="button"
            class="wide"
            onClick={() => void act('POST', '/api/access/pairing/confirm', { agrees: false })}
          >
            {texts.devices.refuse}
          </button>
        </div>
      </div>
    );
  }
  return (
    <>
      <p role="status">{texts.devices.closed[desk.why]}</p>
      <ul class="choices">
        {roles.map((role) => (
          <li key={role}>
            <button type="button" class="wide" onClick={() => void act('POST', '/api/access/pairing', { role })}>
              {texts.devices.open[role]}
            </button>
            <span>{texts.devices.roleNotes[role]}</span>
          </li>
        ))}
      </ul>
    </>
  );
}

function DeviceTable({ devices, act }: { readonly devices: DevicesDocument['devices']; readonly act: Act }) {
  return (
    <ul class="device-list">
      {devices.map(({ id, name, role, pairedAtS, seenAtS }) => (
        <li key={id}>
          <strong>{name}</strong>
          <span>{texts.devices.roles[role]}</span>
          <span>{texts.devices.since(shownDate(pairedAtS))}</span>
          <span>{texts.devices.seen(shownDate(seenAtS))}</span>
          <button type="button" onClick={() => void act('DELETE', `/api/access/devices/${id}`)}>
            {texts.devices.remove}
          </button>
        </li>
      ))}
    </ul>
  );
}

async function readState(): Promise<Known> {
  const devices = await ask<DevicesDocument>('GET', '/api/access/devices');
  // A service for this machine alone has no such route.
  if (!devices.ok) {
    const why =
      devices.status === 404
        ? texts.devices.loopbackOnly
        : devices.status === 403
          ? texts.devices.notHost
          : texts.failed(devices.message);
    return { is: 'closed', why };
  }
  const desk = await ask<DeskDocument>('GET', '/api/access/pairing');
  if (!desk.ok) return { is: 'closed', why: texts.failed(desk.message) };
  return { is: 'open', desk: desk.value, devices: devices.value.devices };
}
