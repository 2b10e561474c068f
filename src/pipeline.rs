//! The whole chain, from samples and a melody to a report; the same for a file and a microphone.
