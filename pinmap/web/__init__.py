"""App factory, one thin router per screen, forms, headers, errors."""
