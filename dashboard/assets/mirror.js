// The rack as this page knows it, put together from patches (the daemon's deltas.py says what a patch is).

const NO_FIGURES = Object.freeze({ drains_a: [] });

export function applyPatch(rack, patch, nowMs) {
  if (patch.order === undefined && patch.bays === undefined && patch.alerts_unacknowledged === undefined) return rack;
  const known = new Map((rack?.bays ?? []).map((bay) => [bay.bay, bay]));
  for (const [name, change] of Object.entries(patch.bays ?? {})) known.set(name, changed(known.get(name), name, change, nowMs));
  const order = patch.order ?? rack?.bays.map((bay) => bay.bay) ?? [];
  return {
    rack: patch.rack ?? rack?.rack ?? "",
    note: patch.note ?? rack?.note ?? "",
    alerts_unacknowledged: patch.alerts_unacknowledged ?? rack?.alerts_unacknowledged ?? 0,
    bays: order.map((name) => known.get(name)).filter(Boolean),
  };
}

function changed(bay, name, { strip, age_s, ...fields }, nowMs) {
  const made = { bay: name, strip: [], tags: [], forecast: [], figures: NO_FIGURES, ...bay, ...fields };
  made.heard = age_s === null ? null : nowMs - age_s * 1000;
  if (strip) {
    const [keep, points] = strip;
    made.strip = keep ? [...made.strip.slice(0, keep), ...points] : points;
  }
  return made;
}
