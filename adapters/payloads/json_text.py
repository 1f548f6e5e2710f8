"""What does a JSON text say? Parsed with every number as the decimal that was written (RFC 8259)."""

from __future__ import annotations

import json
from decimal import Decimal, InvalidOperation

from rules.errors import ValueRefused

# NaN and Infinity are no JSON, but small devices print them: as decimals that are not finite they are refused
# one by one and do not take their neighbours with them.
_DECODER = json.JSONDecoder(parse_float=Decimal, parse_int=Decimal, parse_constant=Decimal)


def parse_json(text: bytes) -> object:
    """The document in UTF-8 `text`: dict, list, str, bool, None, and Decimal for every number.

    Raises ValueRefused for text that is not UTF-8 or not JSON, that is nested too deep, or that has a number with
    an exponent beyond what a decimal can carry.
    """
    try:
        return _DECODER.decode(text.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise ValueRefused(f"not UTF-8 at byte {error.start}") from None
    except json.JSONDecodeError as error:
        raise ValueRefused(f"{error.msg} at character {error.pos}") from None
    except RecursionError:
        raise ValueRefused("nested too deep") from None
    except InvalidOperation:
        raise ValueRefused("a number is out of all range") from None
