"""A capacitor bank that carries bursts which the converter alone cannot: how large, of which parts, and what it stores."""
