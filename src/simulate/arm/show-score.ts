/**
 * What a wearer is told to do first: let the arm hang, then turn the forearm to and fro, palm forward and palm back.
 *
 * Nobody does it as told. The elbow stays a little bent and the arm is not upright (`hanging`); the forearm does not turn about
 * the line from elbow to wrist but about one from the head of the radius to the head of the ulna, so that the wrist goes
 * round on a narrow cone; and the upper arm turns along by a share. Tempo and width differ from turn to turn. Pronation and
 * supination reach about 80° to either side (American Academy of Orthopaedic Surgeons 1965, Joint Motion; from memory); the
 * sizes of cone and share have no source.
 */
import {
  add,
  addScaled,
  cross,
  dot,
  norm,
  quatFromRotationVector,
  rotate,
  scale,
  subtract,
  unitOr,
  type Vec3,
} from '../vectors.ts';
import { forearmAttitude, hangReachAskedM, placeElbow, reachM } from './arm-chain.ts';
import { radians } from './arm-player.ts';
import { type ActContext, type ArmRest, type ArmScore, hanging, shoulderAt, WristPath } from './arm-score.ts';
import { ScalarTrack } from './scalar-track.ts';
import type { ArmShowPlan } from './wrist-plan.ts';

/** Settling into the hang, and back to the usual one after the turns. */
const settleS = 0.6;
/** Half turns differ in length by at most this share. */
const tempoJitter = 0.15;

export function showDurationS({ hangS, turns, turnS, restS }: ArmShowPlan): number {
  return 2 * settleS + hangS + (turns + 0.5) * turnS * (1 + tempoJitter) + restS;
}

export function scoreShow(context: ActContext, plan: ArmShowPlan): { score: ArmScore; end: ArmRest } {
  const { player, random, startS, endS, from } = context;
  const { side } = player;
  const usual = hanging(player);
  const off = (degrees: number) => radians(random.boundedNormal(0, degrees));
  const hang = {
    bendRad: Math.max(radians(10), player.hang.bendRad + off(3)),
    forwardRad: player.hang.forwardRad + off(2),
    outRad: player.hang.outRad + off(1.5),
  };
  const now = hanging({ ...player, hang });
  const basePronationRad = now.angles.pronationRad;
  const turning = pronationTrack();
  const goes = new ScalarTrack([
    { atS: startS, value: 0 },
    { atS: startS + settleS, value: 1 },
    { atS: endS - settleS, value: 1 },
    { atS: endS, value: 0 },
  ]);

  // The arm as it hangs now, shoulder at the origin, trunk looking along x.
  const wrist0 = scale(now.relativeM, reachM(player.arm, Math.PI - hang.bendRad) / norm(now.relativeM));
  const { elbowM, outward } = placeElbow(player.arm, side, [0, 0, 0], wrist0, now.swivelRad, 0);
  const forearm0 = unitOr(subtract(wrist0, elbowM), [0, 0, -1]);
  const attitude0 = forearmAttitude(forearm0, outward, side, basePronationRad);
  const [offY, offZ] = player.turning.offRad;
  const axis = unitOr(add(forearm0, rotate(attitude0, [0, offY, offZ])), forearm0);
  const upperArm = unitOr(elbowM, [0, 0, -1]);

  const shown = (timeS: number): { readonly relativeM: Vec3; readonly swivelRad: number } => {
    // Turned about its own line by the same sense as `forearmAttitude`.
    const turned = -side * (turning.at(timeS) - basePronationRad);
    const coned = rotate(quatFromRotationVector(scale(axis, turned)), forearm0);
    const carried = rotate(quatFromRotationVector(scale(upperArm, player.turning.upperArmShare * turned)), coned);
    const wristM = addScaled(elbowM, carried, player.arm.forearmM);
    const distanceM = norm(wristM);
    const relativeM = scale(wristM, hangReachAskedM(player.arm, distanceM) / distanceM);
    return { relativeM, swivelRad: swivelOf(elbowM, wristM) };
  };
  const trunk: Vec3 = [0, 0, player.shoulderM];
  const path = new WristPath(
    () => shoulderAt(player, trunk, 0),
    () => 0,
  );
  const resting = (timeS: number): ArmRest => (timeS < (startS + endS) / 2 ? from : usual);
  path.relative(startS, (t) => {
    const w = goes.at(t);
    return add(scale(resting(t).relativeM, 1 - w), scale(shown(t).relativeM, w));
  });
  const mixed = (timeS: number, rest: number, other: number): number => {
    const w = goes.at(timeS);
    return (1 - w) * rest + w * other;
  };
  return {
    score: {
      startS,
      endS,
      trunk: () => trunk,
      yaw: () => 0,
      wrist: (t) => path.at(t),
      swivel: (t) => mixed(t, resting(t).swivelRad, shown(t).swivelRad),
      angles: (t) => {
        const rest = resting(t).angles;
        return {
          pronationRad: mixed(t, rest.pronationRad, turning.at(t)),
          flexionRad: mixed(t, rest.flexionRad, now.angles.flexionRad),
          deviationRad: mixed(t, rest.deviationRad, now.angles.deviationRad),
        };
      },
      contacts: [],
      pulses: [],
    },
    end: usual,
  };

  function pronationTrack(): ScalarTrack {
    const knots = [{ atS: startS + settleS + plan.hangS, value: basePronationRad }];
    let sign = random.chance(0.5) ? 1 : -1;
    for (let half = 0; half < 2 * plan.turns; half++) {
      const before = knots[knots.length - 1] as { atS: number };
      const lengthS = (plan.turnS / 2) * (1 + random.between(-tempoJitter, tempoJitter));
      const wide = sign > 0 ? random.between(0.85, 1.4) : random.between(0.85, 1.5);
      knots.push({ atS: before.atS + lengthS, value: sign * wide });
      sign = -sign;
    }
    const last = knots[knots.length - 1] as { atS: number };
    knots.push({ atS: last.atS + plan.turnS / 2, value: basePronationRad });
    return new ScalarTrack(knots);
  }

  function swivelOf(elbow: Vec3, wristM: Vec3): number {
    const n = unitOr(wristM, [0, 0, -1]);
    const left: Vec3 = [0, 1, -0.25 * side];
    const inPlane = unitOr(cross(left, n), [0, 0, -1]);
    const outside = scale(cross(inPlane, n), side);
    return Math.atan2(dot(elbow, outside), dot(elbow, inPlane));
  }
}
