"""The conversation with one device, pure: messages and clock readings in, messages and news out."""
