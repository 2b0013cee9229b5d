"""The first design file: from answers or options to a commented file that `review` takes."""
