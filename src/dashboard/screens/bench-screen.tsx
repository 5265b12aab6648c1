import { useState } from 'preact/hooks';
import type { ShotDocument } from '../../server/wire/live-document.ts';
import type { ShotMeasureName } from '../../server/wire/shot-document.ts';
import { clockTime } from '../clock-time.ts';
import { compareTexts } from '../compare/compare-texts.ts';
import { type LiveState, shownShots } from '../live-state.ts';
import { MeasureText } from '../parts/measure-text.tsx';
import { AxisPicture, FlightPicture, TimingPicture } from '../parts/shot-picture.tsx';
import { StopPage } from '../parts/stop-page.tsx';
import { BenchKeys } from '../practice/bench-keys.tsx';
import { CourtsPanel } from '../practice/courts-panel.tsx';
import { AddPlayerPanel } from '../practice/player-form.tsx';
import type { PracticeDesk } from '../practice/practice-desk.ts';
import { RoundPanel } from '../practice/round-panel.tsx';
import { SetPanel } from '../practice/set-panel.tsx';
import { ShooterPanel } from '../practice/shooter-panel.tsx';
import { StoredShots } from '../practice/stored-shots.tsx';
import { TrendPanel } from '../practice/trend-panel.tsx';
import { useDesk } from '../practice/use-desk.ts';
import { hrefOf } from '../route.ts';
import { userFormat } from '../settings/current-settings.ts';
import { measureLabels, startTexts, texts } from '../texts.ts';

/** What stands in words over the pictures of the newest shot. */
const told: readonly ShotMeasureName[] = ['pickupToReleaseS', 'backspinRps', 'axisTiltDeg', 'launchAngleDeg'];

interface BenchScreenProps {
  readonly state: LiveState;
  readonly desk: PracticeDesk;
}

/** What a coach works with beside the court: who shoots, the set that runs, and the shots of the practice. */
export function BenchScreen({ state, desk }: BenchScreenProps) {
  const [chosen, setChosen] = useState<readonly string[]>([]);
  useDesk(desk, state);
  const [hurts, setHurts] = useState(false);
  const practice = desk.practice.value;
  const latest = shownShots(state).find(({ shot }) => shot.stage === 'final');
  if (hurts) return <StopPage onBack={() => setHurts(false)} />;
  return (
    <section class="bench" aria-labelledby="bench-title">
      <h2 id="bench-title" class="unseen">
        {texts.bench.title}
      </h2>
      <p role="alert" class="stale bench-trouble">
        {desk.trouble.value ?? ''}
      </p>
      <div class="bench-head">
        <BenchKeys desk={desk} chosen={chosen} />
        <p class="bench-links">
          <a href={hrefOf('compare')}>{compareTexts.link}</a>
          <button type="button" class="wide hurts" onClick={() => setHurts(true)}>
            {texts.court.hurts}
          </button>
        </p>
      </div>
      <div class="bench-grid">
        <div>
          <ShooterPanel
            practice={practice}
            desk={desk}
            hereIds={new Set(state.sensors.map(({ sensorId }) => sensorId))}
          />
          <RoundPanel practice={practice} desk={desk} />
          <SetPanel practice={practice} desk={desk} />
          <AddPlayerPanel practice={practice} desk={desk} />
        </div>
        <div>
          <CourtsPanel state={state} />
          {latest && (
            <section class="panel" aria-labelledby="bench-latest">
              <h3 id="bench-latest">
                {texts.bench.latest} <span class="note">{aboutOf(latest, state)}</span>
              </h3>
              <dl class="bench-numbers">
                {told.map((name) => (
                  <div key={name} data-measure={name}>
                    <dt>{measureLabels[name]}</dt>
                    <dd>
                      <MeasureText measured={latest.shot.measures[name]} format={userFormat(name)} />
                    </dd>
                  </div>
                ))}
              </dl>
              <div class="pictures">
                <FlightPicture shot={latest.shot} />
                <AxisPicture shot={latest.shot} />
                <TimingPicture shot={latest.shot} />
              </div>
            </section>
          )}
          <TrendPanel practice={practice} />
          <StoredShots practice={practice} desk={desk} chosen={chosen} onChoose={setChosen} />
        </div>
      </div>
    </section>
  );
}

/** @returns when and, on a hub, where it was shot, how, and by whom where that is known. */
function aboutOf({ at, shot, playerId, court }: ShotDocument, { roster }: LiveState): string {
  const name = playerId == null ? undefined : roster.get(playerId)?.name;
  return [clockTime(at), court, startTexts[shot.startKind], name].filter((word) => word !== undefined).join(', ');
}
