"""What every comparison needs: answers from the project's own examples, one JSON line for each question."""

import json
import os
import pathlib
import subprocess

import pytest

ROOT = pathlib.Path(__file__).parents[2]


@pytest.fixture(scope="session")
def ask():
    """Asks an example of package laywire-craft a list of questions and gives back as many answers."""

    def ask(example, questions):
        target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
        lines = "".join(json.dumps(question) + "\n" for question in questions)
        done = subprocess.run(
            [target / "debug" / "examples" / example], input=lines, capture_output=True, text=True, check=True
        )
        answers = [json.loads(line) for line in done.stdout.splitlines()]
        assert len(answers) == len(questions)
        return answers

    return ask
