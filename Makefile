# `make run` and `make test` set up all they need by themselves.
.PHONY: run test check lock docs bench-page bench-hostile bench-hostile-files bench-network bench-accuracy bench-evidence bench-find bench-speed bench-large bench-proof bench-entered bench-trace bench-centring bench-faults bench-archive bench-edits bench-instrument bench-automatic bench-certificate fuzz-instrument mutate

run: .venv/ready
	.venv/bin/benchproof bench

test: .venv/ready
	tools/setup oracles
	.venv/bin/pytest -n auto

check: .venv/ready
	.venv/bin/ruff check .
	.venv/bin/ruff format --check .
	.venv/bin/mypy
	.venv/bin/lint-imports

# Pins without registry hosts: uv.lock itself names them, so only the export is kept.
lock: .venv/ready
	.uv/bin/uv lock -q --upgrade
	.uv/bin/uv export -q --all-groups --all-extras --no-emit-project --no-header -o requirements.lock >/dev/null

# docs/json.md from the structs, docs/imports.md from the imports.
docs: .venv/ready
	.venv/bin/python tools/jsondoc.py
	.venv/bin/python tools/importpicture.py

# Keys and heads that benchmarks make stay away from those of whoever runs them.
bench-archive bench-automatic bench-edits bench-entered bench-faults bench-find bench-hostile bench-hostile-files bench-page: export XDG_DATA_HOME = $(CURDIR)/.benchmarks

# Figures quoted in docs/performance.md.
bench-network: .venv/ready
	tools/setup oracles
	.venv/bin/python benchmarks/network.py

# Figures quoted in docs/accuracy.md.
bench-accuracy: .venv/ready
	.venv/bin/python benchmarks/accuracy.py
	.venv/bin/python benchmarks/hazards.py

# Whether further evidence ever harms; figures quoted in docs/accuracy.md.
bench-evidence: .venv/ready
	.venv/bin/python benchmarks/evidence.py

bench-find: .venv/ready
	.venv/bin/python benchmarks/find.py

# Figures quoted in docs/alignment.md.
bench-centring: .venv/ready
	.venv/bin/python benchmarks/centring.py

# Figures quoted in docs/performance.md.
bench-speed: .venv/ready
	.venv/bin/python benchmarks/speed.py

# Figures quoted in docs/performance.md.
bench-large: .venv/ready
	.venv/bin/python benchmarks/large.py

# Figures quoted in docs/performance.md and docs/traces.md.
bench-trace: .venv/ready
	.venv/bin/python benchmarks/traces.py

# Figures quoted in docs/performance.md.
bench-instrument: .venv/ready
	.venv/bin/python benchmarks/instrument.py

bench-automatic: .venv/ready
	.venv/bin/python benchmarks/automatic.py

# 100,000 spoilt replies of a meter: no wrong number may be accepted.
fuzz-instrument: .venv/ready
	.venv/bin/python benchmarks/fuzz.py

# Counts quoted in docs/mutation.md: make mutate, or make mutate ONLY=safety.
mutate: .venv/ready
	.venv/bin/python benchmarks/mutants.py $(if $(ONLY),--only $(ONLY)) --write

# Figures quoted in docs/records.md.
bench-faults: .venv/ready
	tools/setup oracles
	.venv/bin/python benchmarks/faults.py

bench-archive: .venv/ready
	tools/setup oracles
	.venv/bin/python benchmarks/archive.py

# Files made to take much memory: none may take more than docs/limits.md says, which quotes the most.
bench-hostile-files: .venv/ready
	.venv/bin/python benchmarks/hostile_files.py --write

# Whether `verify` finds every edit; counts quoted in docs/security.md.
bench-edits: .venv/ready
	tools/setup oracles
	.venv/bin/python benchmarks/edits.py --write

# Figures quoted in docs/performance.md.
bench-certificate: .venv/ready
	.venv/bin/python benchmarks/certificate.py

# Figures quoted in docs/performance.md.
bench-page: .venv/ready
	tools/setup oracles
	.venv/bin/python benchmarks/page.py

# Figures quoted in docs/performance.md.
bench-hostile: .venv/ready
	.venv/bin/python benchmarks/hostile.py

# Figures quoted in docs/performance.md.
bench-proof: .venv/ready
	.venv/bin/python benchmarks/proof.py

# Which modules one reading enters, from HTTP to the screen.
bench-entered: .venv/ready
	.venv/bin/python benchmarks/entered.py

.venv/ready: requirements.lock pyproject.toml tools/setup
	tools/setup venv
