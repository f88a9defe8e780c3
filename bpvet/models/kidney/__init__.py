"""The kidneys beside the pressure.

`kidney` lays each marker's usual value beside the bounds printed for the laboratory's own unit
(`bpvet.facts.stages`, by edition); `result` is what `bpvet.kidney` and ``trend --json`` give,
`rate` per cent a month, doubling and the day-to-day variation of the urine ratio. What withholds
a stage is a short clause there; sentences are made in `bpvet.wording.en.kidney`. Only the term
``chronic kidney disease`` of ``signs.toml`` is a diagnosis; ``kidney failure`` and ``other kidney
disease`` leave it open (`recorded`).

`joint` joins pressure and one marker by one correlation of wanders and slopes; at zero the
margins are the single trends. Each side is whitened by itself, and one singular value
decomposition serves every correlation. `joint_trends` chooses which an animal has; `trend` and
the report ask for them, the answer does not hold them.
"""
