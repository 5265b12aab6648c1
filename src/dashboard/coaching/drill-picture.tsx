import type { WireDrillPicture } from '../../server/wire/coaching-document.ts';

const weights = { body: 4, thing: 2.5, faint: 1.2 } as const;

/** A drill drawn in the colour of the text around it. */
export function DrillPicture({ picture }: { readonly picture: WireDrillPicture }) {
  const { width, height, inWords, shapes } = picture;
  return (
    <svg class="drill-picture" viewBox={`0 0 ${width} ${height}`} role="img" aria-label={inWords}>
      {shapes.map((shape, i) => (
        <Shape key={i} shape={shape} />
      ))}
    </svg>
  );
}

function Shape({ shape }: { readonly shape: WireDrillPicture['shapes'][number] }) {
  switch (shape.kind) {
    case 'line':
      return <polyline points={listed(shape.points)} stroke-width={weights[shape.weight]} />;
    case 'arrow':
      return (
        <>
          <polyline points={listed(shape.points)} stroke-width="1.6" stroke-dasharray="4 3" />
          <polyline points={listed(shape.head)} stroke-width="1.6" />
        </>
      );
    case 'circle':
      return (
        <circle
          class={shape.what === 'ball' ? 'drill-ball' : undefined}
          cx={shape.at[0]}
          cy={shape.at[1]}
          r={shape.radius}
          stroke-width={shape.what === 'ball' ? 2 : 3}
        />
      );
    case 'label':
      return (
        <text x={shape.at[0]} y={shape.at[1]} text-anchor="middle">
          {shape.text}
        </text>
      );
  }
}

function listed(points: readonly (readonly [number, number])[]): string {
  return points.map(([x, y]) => `${Math.round(10 * x) / 10},${Math.round(10 * y) / 10}`).join(' ');
}
