"""Holds scripts against a JSON Schema with tomllib and jsonschema, neither of which is ours.

schema.py SCHEMA: reads a JSON list of TOML texts on standard input, prints a JSON list: null where a text is valid, else the
first fault in words. The schema itself must be a valid one of its draft.
"""

import json
import sys
import tomllib

from jsonschema import Draft202012Validator

with open(sys.argv[1], encoding="utf-8") as file:
    schema = json.load(file)
Draft202012Validator.check_schema(schema)
validator = Draft202012Validator(schema)


def fault(text):
    error = next(validator.iter_errors(tomllib.loads(text)), None)
    return error and f"{'/'.join(map(str, error.absolute_path))}: {error.message}"[:200]


json.dump([fault(text) for text in json.load(sys.stdin)], sys.stdout)
