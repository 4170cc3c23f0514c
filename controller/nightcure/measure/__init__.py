"""Which readings are believed, and what each thermometer has steadily shown."""
