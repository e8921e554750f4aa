"""The running service without a host: sentences in, files and sentences out."""
