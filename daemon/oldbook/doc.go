// Package oldbook reads the logbooks that people have kept in spreadsheets, as
// CSV or XLSX, and makes entries of a clock's log of them.
//
// [Open] gives a file as rows of text ([Sheet]). [Take] says what each column is
// for, asks once for the whole file what nobody can know from it ([Question]), and
// makes of each row the entries that it tells of, marked as copied from an old book;
// what cannot be made sense of is a [Refusal] that names row and column. The answers
// come back as [Answers], and Take is asked again. [Book.Against] holds the entries to
// the log as any other entry is: what stands there already is passed over, and a
// reading that looks like a slip is asked back, never mended in silence.
//
// Nothing here is stored. A file is taken in whole or not at all, unless somebody
// says that what is refused is to be left out ([Answers.LeaveOut]).
//
// It is pure: the file is given as bytes, the time as an argument. Every file is
// hostile or mistaken until it is read: rows, columns, cells and what an XLSX
// unpacks to have bounds ([Bounds]).
package oldbook
