import { useEffect, useRef, useState } from 'preact/hooks';
import type { ShotDocument } from '../../server/wire/live-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { type LiveState, shownShots } from '../live-state.ts';
import { type MeasureFormat, showNumber, showValue } from '../measures.ts';
import { type BandPlace, leastShotCount, type OwnBand, ownBand, placeIn } from '../own-band.ts';
import { HugeNumber } from '../parts/huge-number.tsx';
import { intervalText, withSide } from '../parts/measure-text.tsx';
import type { PageRole } from '../parts/navigation.tsx';
import { OutcomeButtons } from '../parts/outcome-buttons.tsx';
import { PlaceMark } from '../parts/place-mark.tsx';
import { StopPage } from '../parts/stop-page.tsx';
import { useAwake } from '../parts/use-awake.ts';
import { currentSettings, userFormat } from '../settings/current-settings.ts';
import { toneOf, trembleOf } from '../sound/cue.ts';
import type { CuePlayer } from '../sound/cue-player.ts';
import { measureLabels, reasonText, texts } from '../texts.ts';

interface CourtScreenProps {
  readonly state: LiveState;
  readonly isStale: boolean;
  readonly cues: CuePlayer;
  readonly role: PageRole;
}

/** What a player sees from the court: the last shot in two or three numbers. */
export function CourtScreen({ state, isStale, cues, role }: CourtScreenProps) {
  const [hurts, setHurts] = useState(false);
  const shots = shownShots(state);
  const [latest] = shots;
  const { figures } = currentSettings.value;
  useCue(shots, cues);
  useAwake();
  const earlier = latest ? ofSamePlayer(shots.slice(1), latest) : [];
  const player = latest?.playerId == null ? undefined : state.roster.get(latest.playerId);
  if (hurts) return <StopPage onBack={() => setHurts(false)} />;
  return (
    <section class="court" aria-labelledby="court-title" data-figures={figures.length}>
      <h2 id="court-title" class="unseen">
        {texts.court.title}
      </h2>
      <div class="court-figures">
        {figures.map((name) => (
          <CourtFigure key={name} name={name} latest={latest} earlier={earlier} hand={player?.hand} />
        ))}
      </div>
      {/* On a screen that others see a name stands only where the player agreed to it. */}
      {player?.display && <p class="court-shooter">{texts.court.shooter(player.name)}</p>}
      <div class="court-foot">
        {isStale && <p class="stale">{texts.staleNote}</p>}
        <OutcomeButtons latest={latest} canTell={role !== 'viewer'} />
        <SoundButton cues={cues} />
        <button type="button" class="wide hurts" onClick={() => setHurts(true)}>
          {texts.court.hurts}
        </button>
      </div>
      <p class="court-care">{texts.court.watchBall}</p>
    </section>
  );
}

interface CourtFigureProps {
  readonly name: ShotMeasureName;
  readonly latest: ShotDocument | undefined;
  readonly earlier: readonly ShotDocument[];
  /** Of the player, where it is known. */
  readonly hand: 'right' | 'left' | undefined;
}

function CourtFigure({ name, latest, earlier, hand }: CourtFigureProps) {
  const format = userFormat(name, hand);
  const measured = latest?.shot.measures[name];
  const shown = measured ? showValue(measured, format) : null;
  const band = ownBand(earlier, name);
  const place =
    measured && measured.value !== null && band ? placeIn(band, measured.value, measured.standardError) : null;
  const side = shown && format.sides && shown.sign !== 0 ? texts.sides[format.sides] : null;
  return (
    <article class="court-figure" data-measure={name} data-place={place ?? 'none'}>
      <h3>{texts.labelWithUnit(measureLabels[name], format.unit)}</h3>
      {shown ? (
        <>
          <p class="court-value">
            <HugeNumber text={format.unit === '°' ? `${shown.value}°` : shown.value} />
          </p>
          <p class="court-more">
            {/* Half of what such a number says: as easily read as whether it is usual. */}
            {side && <span class="court-side">{shown.sign > 0 ? side.positive : side.negative}</span>}
            <span>{shown.interval ? intervalText(shown.interval, format) : texts.plusMinus(shown.error)}</span>
            {place && <PlaceMark place={place} sides={format.sides} />}
            <BandNote band={band} name={name} earlier={earlier} format={format} />
          </p>
        </>
      ) : (
        <>
          <p class="court-value">
            <HugeNumber text={texts.missingMark} />
          </p>
          <p class="court-more">{missingText(latest, name)}</p>
        </>
      )}
    </article>
  );
}

function missingText(latest: ShotDocument | undefined, name: ShotMeasureName): string {
  if (!latest) return texts.court.waiting;
  const measured = latest.shot.measures[name];
  return measured.value === null ? reasonText(measured.reason) : texts.missing;
}

interface BandNoteProps {
  readonly band: OwnBand | null;
  readonly name: ShotMeasureName;
  readonly earlier: readonly ShotDocument[];
  readonly format: MeasureFormat;
}

function BandNote({ band, name, earlier, format }: BandNoteProps) {
  if (band === null) {
    const count = earlier.filter(({ shot }) => shot.stage === 'final' && shot.measures[name].value !== null).length;
    return <span class="band-note">{texts.court.bandUnknown(leastShotCount - count)}</span>;
  }
  const { low, high, count } = band;
  const [from, until] = [low, high].map((end) => withSide(showNumber(end, format), format)) as [string, string];
  return <span class="band-note">{texts.court.bandRange(from, until, count)}</span>;
}

function SoundButton({ cues }: { readonly cues: CuePlayer }) {
  const [on, setOn] = useState(cues.unlocked);
  const { sound, mediaKeys } = currentSettings.value;
  if (sound === 'off' && !mediaKeys) return null;
  const start = async (): Promise<void> => {
    await cues.unlock();
    if (mediaKeys) await cues.holdMediaKeys().catch(() => {});
    setOn(cues.unlocked);
  };
  return (
    <button type="button" class="wide" aria-pressed={on} onClick={() => void start()}>
      {on ? texts.court.soundOn : texts.court.startSound}
    </button>
  );
}

/** Makes each final shot heard and felt once; those that were there when the screen was opened are past. */
function useCue(shots: readonly ShotDocument[], cues: CuePlayer): void {
  const final = shots.find(({ shot }) => shot.stage === 'final');
  const heard = useRef<string | null | undefined>(undefined);
  useEffect(() => {
    const before = heard.current;
    heard.current = final?.shotId ?? null;
    if (before === undefined || !final || final.shotId === before) return;
    const { figures, sound, volume, vibrate } = currentSettings.value;
    const place = placeOf(final, shots, figures[0] as ShotMeasureName);
    const tone = sound === 'tone' ? toneOf(final.shot) : null;
    if (tone) cues.tone(tone, volume);
    if (sound === 'word' && place) cues.word(texts.court.words[place], volume);
    if (vibrate) cues.tremble(trembleOf(place));
  }, [final?.shotId]);
}

/** @returns the shots of whoever shot this one; those of nobody are taken together, sensor by sensor. */
function ofSamePlayer(
  shots: readonly ShotDocument[],
  { playerId = null, sensorId }: ShotDocument,
): readonly ShotDocument[] {
  return shots.filter((one) => (one.playerId ?? null) === playerId && (playerId !== null || one.sensorId === sensorId));
}

function placeOf(document: ShotDocument, shots: readonly ShotDocument[], name: ShotMeasureName): BandPlace | null {
  const measured = document.shot.measures[name];
  const band = ownBand(ofSamePlayer(shots.slice(shots.indexOf(document) + 1), document), name);
  return band && measured.value !== null ? placeIn(band, measured.value, measured.standardError) : null;
}
