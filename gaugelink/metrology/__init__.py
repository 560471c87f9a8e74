"""Pure calculation: conformity, flatness, rock; no clock, no file, no port."""
