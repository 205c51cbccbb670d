"""Whether a part can be cut well from a plate of some thickness by some process, before any layout is made."""
