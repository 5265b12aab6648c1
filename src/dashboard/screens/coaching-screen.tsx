import { useRef } from 'preact/hooks';
import type { WireDrill, WireFinding } from '../../server/wire/coaching-document.ts';
import type { CoachingDesk, PlayerWork } from '../coaching/coaching-desk.ts';
import { pathOf } from '../coaching/coaching-desk.ts';
import { FindingCard } from '../coaching/finding-card.tsx';
import { OwnDrillsPanel } from '../coaching/own-drills-panel.tsx';
import { LoadPanel, PracticeStudyPanel } from '../coaching/practice-panels.tsx';
import { PrescriptionCard } from '../coaching/prescription-card.tsx';
import { RatesTable } from '../coaching/rates-table.tsx';
import { ReportLinks } from '../coaching/report-links.tsx';
import { StudiesSection } from '../coaching/studies-section.tsx';
import { TargetsPanel } from '../coaching/targets-panel.tsx';
import { changeNumber, type LiveState } from '../live-state.ts';
import { texts } from '../texts.ts';
import { changeMark, useReread } from '../use-reread.ts';

interface CoachingScreenProps {
  readonly state: LiveState;
  readonly desk: CoachingDesk;
}

/** The coach's loop for one player: what is seen, what to do about it, and whether it changed. */
export function CoachingScreen({ state, desk }: CoachingScreenProps) {
  const words = texts.coaching;
  const players = desk.players.value;
  // Who shoots when the screen is opened, and that player from then on, whoever shoots later.
  const begun = useRef<string | null>(null);
  if (begun.current === null && players !== null && state.hello !== null) {
    const shooter = state.shots.find(({ playerId: id }) => players.some((player) => player.id === id))?.playerId;
    begun.current = shooter ?? players[0]?.id ?? null;
  }
  const kept = players?.find(({ id }) => id === desk.chosen.value)?.id;
  const playerId = kept ?? begun.current ?? players?.[0]?.id ?? null;
  const mark = changeMark(state, null);
  const change = changeNumber(state, null);
  useReread(() => desk.readPlayers(), `${state.hello?.runId ?? ''} ${change}`);
  useReread(async () => {
    if (playerId !== null) await desk.read(playerId);
  }, `${playerId} ${mark}`);
  const work = desk.work.value?.playerId === playerId ? desk.work.value : null;
  return (
    <section class="coaching" aria-labelledby="coaching-title">
      <h2 id="coaching-title">{words.title}</h2>
      <p role="alert" class="stale bench-trouble">
        {desk.refused.value ?? desk.trouble.value ?? ''}
      </p>
      {players?.length === 0 && <p>{words.nobody}</p>}
      {players !== null && players.length > 0 && (
        <label class="inline-form">
          {words.player}
          <select
            name="player"
            value={playerId ?? ''}
            onChange={(event) => {
              desk.chosen.value = event.currentTarget.value;
            }}
          >
            {players.map(({ id, pseudonym }) => (
              <option key={id} value={id}>
                {pseudonym}
              </option>
            ))}
          </select>
        </label>
      )}
      {work && <Work work={work} state={state} desk={desk} />}
      {players !== null && players.length > 0 && (
        <OwnDrillsPanel
          drills={desk.drills.value}
          faults={desk.faults.value}
          isChanging={desk.isChanging.value}
          onKeep={(name, drill) =>
            name === null
              ? desk.changeDrill('POST', '/api/drills', drill)
              : desk.changeDrill('PATCH', `/api/drills/${encodeURIComponent(name)}`, drill)
          }
          onRetire={(name) =>
            void desk.changeDrill('PATCH', `/api/drills/${encodeURIComponent(name)}`, { retired: true })
          }
        />
      )}
      {players !== null && players.length > 0 && <StudiesSection change={change} />}
    </section>
  );
}

function Work({ work, state, desk }: CoachingScreenProps & { readonly work: PlayerWork }) {
  const words = texts.coaching;
  const { playerId, coaching, prescriptions, load, study, targets, sets } = work;
  const isPracticeOn = state.sensors.length > 0;
  const prescribe = (finding: WireFinding, drill: WireDrill): void =>
    void desk.change(playerId, 'POST', `${pathOf(playerId)}/prescriptions`, { fault: finding.name, drill: drill.name });
  return (
    <div class="bench-grid">
      <div>
        {coaching && (
          <section class="panel" aria-labelledby="stage-title">
            <h3 id="stage-title">{words.stage}</h3>
            <p>{coaching.stage.inWords}</p>
            <p class="note">{coaching.stage.source}</p>
          </section>
        )}
        {load && <LoadPanel load={load} />}
        <section class="panel" aria-labelledby="reports-title">
          <h3 id="reports-title">{words.reports}</h3>
          <ReportLinks path={`${pathOf(playerId)}/report`} />
        </section>
        {targets && (
          <TargetsPanel
            key={playerId}
            targets={targets}
            sets={sets}
            isChanging={desk.isChanging.value}
            onBest={(setIds) => void desk.change(playerId, 'PUT', `${pathOf(playerId)}/best-sets`, { setIds })}
            onSet={(measure, band) =>
              void desk.change(playerId, 'PUT', `${pathOf(playerId)}/targets/${encodeURIComponent(measure)}`, { band })
            }
          />
        )}
        <details class="panel">
          <summary>{words.rates.title}</summary>
          <RatesTable />
        </details>
      </div>
      <div>
        {coaching && <Findings coaching={coaching} drills={desk.drills.value} onPrescribe={prescribe} />}
        <section class="panel" aria-labelledby="prescribed-title">
          <h3 id="prescribed-title">{words.prescribed}</h3>
          {prescriptions?.length === 0 && <p>{words.nonePrescribed}</p>}
          {prescriptions?.map((prescription) => {
            const path = `/api/prescriptions/${encodeURIComponent(prescription.id)}`;
            return (
              <PrescriptionCard
                key={prescription.id}
                prescription={prescription}
                isPracticeOn={isPracticeOn}
                isChanging={desk.isChanging.value}
                onStart={(role) => void desk.change(playerId, 'POST', `${path}/blocks`, { role })}
                onEndBlock={(block) =>
                  void desk.change(playerId, 'PATCH', `/api/blocks/${encodeURIComponent(block.id)}`, { ended: true })
                }
                onEnd={() => void desk.change(playerId, 'PATCH', path, { ended: true })}
              />
            );
          })}
        </section>
        {study && <PracticeStudyPanel study={study} />}
      </div>
    </div>
  );
}

function Findings({
  coaching,
  drills,
  onPrescribe,
}: {
  readonly coaching: NonNullable<PlayerWork['coaching']>;
  readonly drills: readonly WireDrill[];
  readonly onPrescribe: (finding: WireFinding, drill: WireDrill) => void;
}) {
  const words = texts.coaching;
  const named = coaching.findings.filter(({ state }) => state === 'named');
  const signs = coaching.findings.filter(({ state }) => state === 'signs');
  const card = (finding: WireFinding) => (
    <FindingCard
      key={finding.name}
      finding={finding}
      drills={drills}
      onPrescribe={(drill) => onPrescribe(finding, drill)}
    />
  );
  return (
    <section class="panel" aria-labelledby="findings-title">
      <h3 id="findings-title">{words.clear}</h3>
      <p class="note">{coaching.sessionId === null ? words.noShots : words.shots(coaching.shots)}</p>
      {(coaching.sessionId === null ? [] : coaching.notes).map((note) => (
        <p class="note" key={note}>
          {note}
        </p>
      ))}
      {named.length === 0 && coaching.sessionId !== null && <p>{words.nothingClear}</p>}
      {named.map(card)}
      {signs.length > 0 && (
        <>
          <h4>{words.signs}</h4>
          {signs.map(card)}
        </>
      )}
    </section>
  );
}
