#!/usr/bin/env python3
"""Opens a parcel as any mail program or unpacker would, and writes what is in it into a folder.

usage: inspect_parcel.py PARCEL FOLDER: prints "subject TEXT", "date TEXT", "body TYPE CHARSET BYTES", "member NAME TYPE BYTES";
anything that is no proper mail or archive ends it with a message and exit status 1.
inspect_parcel.py --rewrap PARCEL NEW: the mail as another program would send it on: lines end in LF, texts as quoted-printable,
inside a forwarded message.
"""
import email
import email.policy
import os
import quopri
import sys
import zipfile


def fail(text):
    print(text, file=sys.stderr)
    sys.exit(1)


def keep(folder, name, data, kind):
    with open(os.path.join(folder, name), 'wb') as file:
        file.write(data)
    print('member', name, kind, len(data))


def open_mail(raw, folder):
    for number, line in enumerate(raw.split(b'\r\n')):
        if len(line) > 998 or b'\n' in line or b'\r' in line or any(c > 126 or (c < 32 and c != 9) for c in line):
            fail('line %d is not fit for mail' % number)
    message = email.message_from_bytes(raw, policy=email.policy.default)
    for part in message.walk():
        if part.defects:
            fail('defects: %r' % part.defects)
    for field in ('From', 'Date', 'Subject', 'MIME-Version', 'Message-ID'):
        if len(message.get_all(field, [])) != 1:
            fail('no or several ' + field)
    if len(message['From'].addresses) != 1 or message['Date'].datetime is None:
        fail('From or Date is none')
    print('subject', message['Subject'])
    print('date', message['Date'].datetime.isoformat())
    if message.get_content_type() != 'multipart/mixed':
        fail('not mixed')
    for part in message.get_body(('plain',)), message.get_body(('html',)):
        if part is None:
            fail('a body is missing')
        print('body', part.get_content_type(), part.get_content_charset(), len(part.get_payload(decode=True)))
    with open(os.path.join(folder, '.body'), 'wb') as file:
        file.write(message.get_body(('plain',)).get_payload(decode=True).replace(b'\r\n', b'\n'))
    for part in message.iter_attachments():
        if part.get_content_disposition() != 'attachment' or not part.get_filename():
            fail('an attachment without a name')
        keep(folder, part.get_filename(), part.get_payload(decode=True), part.get_content_type())


def open_zip(path, folder):
    with zipfile.ZipFile(path) as archive:
        if archive.testzip() is not None:
            fail('a sum is wrong')
        for info in archive.infolist():
            print('time', '%04d-%02d-%02dT%02d:%02d:%02d' % info.date_time)
            keep(folder, info.filename, archive.read(info), '%o' % (info.external_attr >> 16))


def rewrap(source, target):
    message = email.message_from_bytes(source, policy=email.policy.default)
    for part in message.walk():
        if part.get_content_maintype() == 'multipart' or part.get_filename() is None:
            continue
        data = part.get_payload(decode=True)
        if part.get_content_type() in ('text/plain', 'application/json'):
            del part['Content-Transfer-Encoding']
            part['Content-Transfer-Encoding'] = 'quoted-printable'
            part.set_payload(quopri.encodestring(data, quotetabs=True).decode('ascii'))
    outer = email.message.EmailMessage()
    outer['From'] = 'support@example.invalid'
    outer['To'] = 'workshop@example.invalid'
    outer['Subject'] = 'Fwd: ' + message['Subject']
    outer.set_content('See below.\n')
    outer.add_attachment(message)
    with open(target, 'wb') as file:
        file.write(outer.as_bytes(policy=email.policy.default.clone(linesep='\n')))


if sys.argv[1] == '--rewrap':
    with open(sys.argv[2], 'rb') as file:
        rewrap(file.read(), sys.argv[3])
else:
    os.makedirs(sys.argv[2], exist_ok=True)
    if zipfile.is_zipfile(sys.argv[1]):
        open_zip(sys.argv[1], sys.argv[2])
    else:
        with open(sys.argv[1], 'rb') as file:
            open_mail(file.read(), sys.argv[2])
