"""One router per screen; each module has ``router``."""
