// Package mail writes the letters that are owed ([Composer]), hands them to a
// mail server ([Sender]), and holds a small receiving server for the demo and
// for tests ([Sink]).
//
// A letter is composed once, with a Message-ID that stays, and stored. A
// [Sender] claims stored letters for a time (the lease), sends a batch over one
// connection and settles each one. Just before the final dot of a letter it
// commits that the letter is handed over; so after a crash it is known which
// letters certainly did not go out, and which one may have.
//
// SMTP itself cannot promise "exactly once": a letter may go out twice when the
// process is killed between the server's 250 and our own commit, or when the
// server's last reply is lost. The Message-ID is then the same.
package mail
