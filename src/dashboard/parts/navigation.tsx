import { hrefOf, type Route, screens } from '../route.ts';
import { texts } from '../texts.ts';

export function Navigation({ route }: { readonly route: Route }) {
  return (
    <nav class="navigation" aria-label={texts.screensLabel}>
      <ul>
        {screens.map((screen) => (
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
