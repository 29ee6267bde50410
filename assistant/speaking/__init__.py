"""The assistant's voice: text becomes sound, and sound leaves the loudspeaker until it is cut."""
