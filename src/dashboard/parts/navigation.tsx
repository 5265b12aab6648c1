import { hrefOf, type Route, screens } from '../route.ts';
import { texts } from '../texts.ts';

interface NavigationProps {
  readonly route: Route;
  /** What this device may do; null before that is known. */
  readonly role: PageRole;
}

export type PageRole = 'viewer' | 'player' | 'coach' | 'host' | null;

/** Screens whose data the service gives to a coach alone. */
const coachScreens: ReadonlySet<string> = new Set(['bench', 'coaching', 'sessions']);

export function Navigation({ route, role }: NavigationProps) {
  const isCoach = role !== 'viewer' && role !== 'player';
  return (
    <nav class="navigation" aria-label={texts.screensLabel}>
      <ul>
        {screens
          .filter((screen) => isCoach || !coachScreens.has(screen))
          .map((screen) => (
            <li key={screen}>
              <a href={hrefOf(screen)} aria-current={route.screen === screen ? 'page' : undefined}>
                {texts.screens[screen]}
              </a>
            </li>
          ))}
      </ul>
    </nav>
  );
}
