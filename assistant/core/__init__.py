"""The pure core: values in, values out; no audio, clock, file, thread or printing."""
