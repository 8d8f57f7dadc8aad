"""What has risen since the same machine was sound, and which part that tells of."""
