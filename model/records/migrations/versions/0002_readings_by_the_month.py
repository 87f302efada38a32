"""readings by the month, on PostgreSQL

Revision ID: 0002
Revises: 0001
"""

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

revision = '0002'
down_revision = '0001'
branch_labels = None
depends_on = None


def after(month: datetime) -> datetime:
    return datetime(month.year + month.month // 12, month.month % 12 + 1, 1, tzinfo=UTC)


def upgrade() -> None:
    connection = op.get_bind()
    if connection.dialect.name != 'postgresql':
        return
    op.execute('ALTER TABLE reading RENAME TO reading_whole')
    op.execute('ALTER TABLE reading_whole RENAME CONSTRAINT pk_reading TO pk_reading_whole')
    op.execute(
        'CREATE TABLE reading (LIKE reading_whole INCLUDING DEFAULTS INCLUDING CONSTRAINTS) '
        'PARTITION BY RANGE (observed_at)'
    )
    op.execute('ALTER TABLE reading ADD CONSTRAINT pk_reading PRIMARY KEY (sensor_id, observed_at)')
    op.execute(
        'ALTER TABLE reading ADD CONSTRAINT fk_reading_sensor_id '
        'FOREIGN KEY (sensor_id) REFERENCES sensor (id) ON DELETE CASCADE'
    )
    op.execute('CREATE TABLE reading_other PARTITION OF reading DEFAULT')
    # Clocks that lie by decades get no month of their own.
    found = connection.execute(
        sa.text(
            "SELECT DISTINCT date_trunc('month', observed_at, 'UTC') FROM reading_whole "
            "WHERE observed_at >= now() - interval '30 years' AND observed_at < now() + interval '1 year'"
        )
    ).scalars()
    this = datetime.now(UTC).replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    months = {at.astimezone(UTC) for at in found} | {this, after(this)}
    for month in sorted(months):
        op.execute(
            f"CREATE TABLE reading_m{month:%Y%m} PARTITION OF reading "
            f"FOR VALUES FROM ('{month.isoformat()}') TO ('{after(month).isoformat()}')"
        )
    op.execute('INSERT INTO reading SELECT * FROM reading_whole')
    op.execute('DROP TABLE reading_whole')


def downgrade() -> None:
    raise NotImplementedError('a book is never taken back to an older schema: restore a backup instead')
