"""The stages of the corridor, each with what it reads, tells and keeps."""
