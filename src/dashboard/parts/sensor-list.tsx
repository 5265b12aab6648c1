import type { RejectedDocument, WireSensor } from '../../server/wire/live-document.ts';
import { clockTime } from '../clock-time.ts';
import { rejectedTexts, sensorStateTexts, texts } from '../texts.ts';

interface SensorListProps {
  readonly sensors: readonly WireSensor[];
  readonly rejected: RejectedDocument | null;
}

export function SensorList({ sensors, rejected }: SensorListProps) {
  if (sensors.length === 0 && rejected === null) return null;
  return (
    <section class="sensors" aria-labelledby="sensors-title">
      <h2 id="sensors-title">{texts.sensors}</h2>
      <ul>
        {sensors.map((sensor) => (
          <li key={sensor.sensorId} data-state={sensor.state}>
            <strong>{texts.sensorName(sensor.sensorId)}</strong>
            <span>{sensorStateTexts[sensor.state]}</span>
            {sensor.sampleRateHz !== null && <span>{texts.sensorRate(sensor.sampleRateHz)}</span>}
            <span>{texts.sensorLost(sensor.lostCount, sensor.notificationCount)}</span>
            {sensor.detail !== null && <span>{sensor.detail}</span>}
            {sensor.remedy !== undefined && <span>{sensor.remedy}</span>}
            {sensor.information && <SensorInformation sensor={sensor} information={sensor.information} />}
          </li>
        ))}
      </ul>
      {rejected !== null && (
        <p class="rejected">
          {texts.notCounted(clockTime(rejected.at), rejectedTexts[rejected.rejected.kind], rejected.rejected.reason)}
        </p>
      )}
    </section>
  );
}

interface SensorInformationProps {
  readonly sensor: WireSensor;
  readonly information: NonNullable<WireSensor['information']>;
}

/** What the sensor says about itself, and a way to find it among others. */
function SensorInformation({ sensor, information }: SensorInformationProps) {
  const { model, firmwareRevision, batteryPercent } = information;
  const about = texts.firmware(model, firmwareRevision);
  const identify = (): void => {
    void fetch(`/api/sensors/${sensor.sensorId}/identify`, { method: 'POST' });
  };
  return (
    <>
      {batteryPercent !== null && <span>{texts.battery(batteryPercent)}</span>}
      {about !== '' && <span>{about}</span>}
      <button type="button" class="identify" onClick={identify}>
        {texts.identify}
      </button>
    </>
  );
}
