"""A dialogue without sound, for tests and for trying a procedure: say a result, see what is answered."""

from assistant.rehearsal.dialogue import Dialogue

__all__ = ["Dialogue"]
