"""Parts from measured curves: read, fitted by a network, checked."""
