"""The converter's sources: from what was measured at its terminals to spectra of electromotive forces inside."""
