# `make run` and `make test` set up all they need by themselves.
.PHONY: run test check lock bench-network bench-accuracy bench-find bench-speed

run: .venv/ready
	.venv/bin/benchproof demo

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
	.uv/bin/uv export -q --all-groups --no-emit-project --no-header -o requirements.lock >/dev/null

# Figures quoted in docs/performance.md.
bench-network: .venv/ready
	tools/setup oracles
	.venv/bin/python benchmarks/network.py

# Figures quoted in docs/accuracy.md.
bench-accuracy: .venv/ready
	.venv/bin/python benchmarks/accuracy.py

bench-find: .venv/ready
	.venv/bin/python benchmarks/find.py

# Figures quoted in docs/performance.md.
bench-speed: .venv/ready
	.venv/bin/python benchmarks/speed.py

.venv/ready: requirements.lock pyproject.toml tools/setup
	tools/setup venv
