/** What a paired device may do. Each may do what those before it may. */
export const pairedRoles = ['viewer', 'player', 'coach'] as const;
export type PairedRole = (typeof pairedRoles)[number];

/** `host` is whoever sits at the machine of the service: it alone lets devices in and out. */
export type Role = PairedRole | 'host';

/** From the one that may least on. */
export const roles: readonly Role[] = [...pairedRoles, 'host'];

/** What a route asks for; `anyone` is for what a device needs before it is paired. */
export type RouteAccess = Role | 'anyone';

const ranks: Readonly<Record<RouteAccess, number>> = { anyone: 0, viewer: 1, player: 2, coach: 3, host: 4 };

/** @param role of who asks; null where it is nobody known. */
export function mayUse(role: Role | null, needed: RouteAccess): boolean {
  return ranks[role ?? 'anyone'] >= ranks[needed];
}
