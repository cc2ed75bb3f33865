"""What stages and files came to in earlier runs, kept on disk by the content they were made from."""
